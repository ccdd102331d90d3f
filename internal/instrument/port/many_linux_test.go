package port

import (
	"errors"
	"io"
	"os"
	"syscall"
	"testing"
	"time"

	"github.com/creack/pty"
	"go.bug.st/serial"

	"ohmkeep/internal/instrument/profile"
)

// select(2) cannot use a descriptor of 1024 or more, and the library panics there. Such a port is
// read all the same.
func TestManyOpenFiles(t *testing.T) {
	var limit syscall.Rlimit
	if err := syscall.Getrlimit(syscall.RLIMIT_NOFILE, &limit); err != nil || limit.Cur < 1100 {
		t.Skip("this process may not open that many files")
	}
	board, device, err := pty.Open()
	if err != nil {
		t.Skip("no pseudo-terminals here: ", err)
	}
	defer board.Close()
	defer device.Close()
	for range 1030 {
		f, err := os.Open(os.DevNull)
		if err != nil {
			t.Skip("this process may not open that many files: ", err)
		}
		defer f.Close()
	}
	conn, err := serial.Open(device.Name(), &serial.Mode{BaudRate: 115200})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := read(conn, make([]byte, 1)); !errors.Is(err, errTooManyFiles) {
		t.Errorf("the library alone: %v", err)
	}
	if err := conn.Close(); err != nil {
		t.Fatal(err)
	}
	p, err := Open(t.Context(), device.Name(), profile.Port{Baud: 115200, DataBits: 8, StopBits: 1, Terminator: "\n"}, Lines("\n"), time.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	if _, err := io.WriteString(board, "1,4.8,V\n"); err != nil {
		t.Fatal(err)
	}
	if l, err := p.Line(t.Context()); err != nil || l.Text != "1,4.8,V" {
		t.Errorf("got %+v, %v", l, err)
	}
}

// A name that became another device's while the port was opened is an error: the library set up one
// device, and another would be read.
func TestSameDevice(t *testing.T) {
	dir := t.TempDir()
	f, err := os.Create(dir + "/one")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if !sameDevice(f, dir+"/one") {
		t.Error("it is the same")
	}
	if err := os.Rename(dir+"/one", dir+"/two"); err != nil {
		t.Fatal(err)
	}
	if sameDevice(f, dir+"/one") {
		t.Error("it is gone")
	}
	if err := os.WriteFile(dir+"/one", nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if sameDevice(f, dir+"/one") {
		t.Error("it is another")
	}
}
