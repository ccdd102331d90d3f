package port_test

import (
	"context"
	"errors"
	"io"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"ohmkeep/internal/instrument/port"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/simulate/devices"
)

var settings = profile.Port{Baud: 115200, DataBits: 8, StopBits: 1, Terminator: "\n"}

// terminal opens a pseudo-terminal as a USB port is opened and returns the port and the device's
// end.
func terminal(t *testing.T, before string) (*port.Port, io.ReadWriteCloser) {
	t.Helper()
	pair, err := devices.NewTerminal()
	if err != nil {
		t.Skip("no pseudo-terminals here: ", err)
	}
	t.Cleanup(func() { _ = pair.Device.Close() })
	say(t, pair.Device, before)
	p, err := port.Open(t.Context(), pair.Path, settings, port.Lines("\n"), time.Now)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = p.Close() })
	return p, pair.Device
}

func say(t *testing.T, device io.Writer, text string) {
	t.Helper()
	if text == "" {
		return
	}
	if _, err := io.WriteString(device, text); err != nil {
		t.Fatal(err)
	}
}

func expect(t *testing.T, p *port.Port, text string, fault port.Fault) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	l, err := p.Line(ctx)
	if err != nil || l.Text != text || l.Fault != fault {
		t.Fatalf("got %q (%s), %v, want %q (%s)", l.Text, l.Fault, err, text, fault)
	}
	if age := time.Since(l.Time); age < 0 || age > time.Minute {
		t.Errorf("%q was read %v ago", text, age)
	}
}

func TestLines(t *testing.T) {
	t.Parallel()
	p, device := terminal(t, "")
	say(t, device, "1,4.8,V\n2,4.9,V\r\n")
	expect(t, p, "1,4.8,V", "")
	expect(t, p, "2,4.9,V", "")
	for _, piece := range []string{"1,4", ".8", "12,V", "\r", "\n"} {
		say(t, device, piece)
		time.Sleep(2 * time.Millisecond)
	}
	expect(t, p, "1,4.812,V", "")
}

// A line that was being sent when the port was opened lacks its beginning: 11,4.8,V might become
// 1,4.8,V. It is skipped, unless a line's end came just before.
func TestLineUnderWay(t *testing.T) {
	t.Parallel()
	p, device := terminal(t, "1,4.8")
	say(t, device, "12,V\n1,4.9,V\n")
	expect(t, p, "1,4.812,V", port.StartMissing)
	expect(t, p, "1,4.9,V", "")

	p, _ = terminal(t, "\n1,4.9,V\n")
	expect(t, p, "1,4.9,V", "")
}

func TestGarbage(t *testing.T) {
	t.Parallel()
	p, device := terminal(t, "")
	noise := "\x00\xff\x80\x11\x13\x03\x04\x1a\x7f" // control characters that a cooked terminal would eat
	say(t, device, noise+"\n"+strings.Repeat("z", 3000)+"\n1,4.9,V\n")
	expect(t, p, noise, "")
	expect(t, p, strings.Repeat("z", 513), port.TooLong)
	expect(t, p, "1,4.9,V", "")
}

func TestSilence(t *testing.T) {
	t.Parallel()
	p, device := terminal(t, "")
	ctx, cancel := context.WithTimeout(t.Context(), 150*time.Millisecond)
	defer cancel()
	begun := time.Now()
	if _, err := p.Line(ctx); !errors.Is(err, context.DeadlineExceeded) {
		t.Fatalf("got %v", err)
	}
	if took := time.Since(begun); took > 20*time.Second {
		t.Errorf("took %v", took)
	}
	say(t, device, "1,4.9,V\n") // the library's time-outs in between did no harm
	expect(t, p, "1,4.9,V", "")
}

// Lines that were read before the device was unplugged are returned before the error.
func TestUnplugged(t *testing.T) {
	var p *port.Port
	var line port.Line
	err := port.ErrGone
	for wait := 20 * time.Millisecond; errors.Is(err, port.ErrGone) && wait < 10*time.Second; wait *= 3 { // it may be read late
		var device io.ReadWriteCloser
		p, device = terminal(t, "")
		say(t, device, "1,4.9,V\n")
		time.Sleep(wait)
		if err := device.Close(); err != nil {
			t.Fatal(err)
		}
		line, err = p.Line(t.Context())
	}
	if err != nil || line.Text != "1,4.9,V" {
		t.Fatalf("got %q, %v", line.Text, err)
	}
	if _, err := p.Line(t.Context()); !errors.Is(err, port.ErrGone) {
		t.Fatalf("got %v", err)
	}
	if err := p.Write(t.Context(), []byte("x")); !errors.Is(err, port.ErrGone) {
		t.Fatalf("write: got %v", err)
	}
	if err := p.Close(); !errors.Is(err, port.ErrGone) {
		t.Fatalf("close: got %v", err)
	}
}

func TestWriteAndForget(t *testing.T) {
	t.Parallel()
	p, device := terminal(t, "")
	say(t, device, "old\nhalf")
	time.Sleep(20 * time.Millisecond)
	p.Forget()
	if err := p.Write(t.Context(), []byte("*IDN?\n")); err != nil {
		t.Fatal(err)
	}
	buffer := make([]byte, 64)
	n, err := device.Read(buffer)
	if err != nil || string(buffer[:n]) != "*IDN?\n" {
		t.Fatalf("the device heard %q, %v", buffer[:n], err)
	}
	say(t, device, "new\n")
	expect(t, p, "new", "")
}

// Forget discards the lines that wait, those that the port holds for a slow reader, and what the
// system holds.
func TestForgetFlood(t *testing.T) {
	t.Parallel()
	p, device := terminal(t, "")
	say(t, device, strings.Repeat("old\n", 2000))
	time.Sleep(50 * time.Millisecond)
	p.Forget()
	say(t, device, "new\n")
	expect(t, p, "new", "")
}

// A device that does not take what is sent blocks neither the caller of Write nor Close.
func TestStuckWrite(t *testing.T) {
	t.Parallel()
	p, _ := terminal(t, "")
	ctx, cancel := context.WithTimeout(t.Context(), 100*time.Millisecond)
	defer cancel()
	if err := p.Write(ctx, make([]byte, 1<<20)); !errors.Is(err, port.ErrStuck) {
		t.Fatalf("got %v", err)
	}
	begun := time.Now()
	if err := p.Close(); err != nil {
		t.Fatal(err)
	}
	if took := time.Since(begun); took > 20*time.Second {
		t.Errorf("Close took %v", took)
	}
	if _, err := p.Line(t.Context()); !errors.Is(err, os.ErrClosed) {
		t.Errorf("after Close: %v", err)
	}
	if err := p.Close(); err != nil {
		t.Errorf("closed twice: %v", err)
	}
}

// A pseudo-terminal has no DTR and no RTS. That is no fault, and since nothing
// can have been reset, nothing has to settle.
func TestModemLines(t *testing.T) {
	t.Parallel()
	pair, err := devices.NewTerminal()
	if err != nil {
		t.Skip("no pseudo-terminals here: ", err)
	}
	defer pair.Device.Close()
	on, s := true, settings
	s.DTR, s.RTS, s.Settle = &on, &on, time.Minute
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	p, err := port.Open(ctx, pair.Path, s, port.Lines("\n"), time.Now)
	if err != nil {
		t.Fatal(err)
	}
	say(t, pair.Device, "1,4.9,V\n")
	expect(t, p, "1,4.9,V", "")
	if err := p.Close(); err != nil {
		t.Error(err)
	}
	// The terminal stays when a program closes it, as a device does.
	if p, err = port.Open(ctx, pair.Path, settings, port.Lines("\n"), time.Now); err != nil {
		t.Fatal(err)
	}
	say(t, pair.Device, "1,5.0,V\n")
	expect(t, p, "1,5.0,V", "")
	if err := p.Close(); err != nil {
		t.Error(err)
	}
}

func TestOpenFaults(t *testing.T) {
	absent := filepath.Join(t.TempDir(), "absent")
	if _, err := port.Open(t.Context(), absent, settings, port.Lines("\n"), time.Now); !errors.Is(err, os.ErrNotExist) || !strings.Contains(err.Error(), "plugged in") {
		t.Errorf("absent: %v", err)
	}
	plain := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(plain, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := port.Open(t.Context(), plain, settings, port.Lines("\n"), time.Now); err == nil {
		t.Error("a file was opened as a port")
	}
}

// The same code reads a connection within the process, and one whose reads return nothing at once.
func TestInProcess(t *testing.T) {
	pair := devices.InProcess()
	p := port.Over(pair.Host, port.Lines("\n"), time.Now)
	go func() { _, _ = io.WriteString(pair.Device, "1,4.9,V\r\n2,x") }()
	expect(t, p, "1,4.9,V", "")
	if err := pair.Device.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := p.Line(t.Context()); !errors.Is(err, port.ErrGone) {
		t.Errorf("got %v", err)
	}

	synctest.Test(t, func(t *testing.T) {
		lazy := &lazyConn{Conn: devices.InProcess().Host.(net.Conn)}
		p := port.Over(lazy, port.Lines("\n"), time.Now)
		time.Sleep(30 * time.Millisecond)
		if err := p.Close(); err != nil {
			t.Error(err)
		}
		if lazy.reads > 100 {
			t.Errorf("%d reads in 30 ms", lazy.reads)
		}
	})
}

type lazyConn struct {
	net.Conn
	reads int
}

func (l *lazyConn) Read([]byte) (int, error) { l.reads++; return 0, nil }
