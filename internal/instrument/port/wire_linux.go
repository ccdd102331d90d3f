package port

import (
	"errors"
	"os"
	"time"

	"go.bug.st/serial"
	"golang.org/x/sys/unix"
)

// wire is a serial port that is read through a descriptor of its own, for which
// the program waits together with all others it has. The library waits for each
// port by itself, inside the system: that keeps a thread for every port, and the
// runtime looking for many a millisecond after every line whether the thread is
// back, which cost twice what all else of a line does.
type wire struct {
	serial.Port
	in   *os.File
	wait time.Duration
}

// openWire opens a serial port. The library still sets it up, holds it alone,
// and writes.
func openWire(path string, mode *serial.Mode) (serial.Port, error) {
	// Before the library, which lets no other open the port after it. What goes wrong
	// here goes wrong there again, and is told in its words.
	fd, opening := unix.Open(path, unix.O_RDONLY|unix.O_NOCTTY|unix.O_NONBLOCK|unix.O_CLOEXEC, 0)
	conn, err := serial.Open(path, mode)
	if opening != nil {
		return conn, err
	}
	in := os.NewFile(uintptr(fd), path)
	if err != nil || in.SetReadDeadline(time.Time{}) != nil || !sameDevice(in, path) {
		_ = in.Close() // nothing was read or written
		return conn, err
	}
	return &wire{Port: conn, in: in}, nil
}

// sameDevice reports whether a name still stands for what was opened by it: between
// two openings a device may have been unplugged and another one plugged in.
func sameDevice(f *os.File, path string) bool {
	opened, err := f.Stat()
	if err != nil {
		return false
	}
	named, err := os.Stat(path)
	return err == nil && os.SameFile(opened, named)
}

func (w *wire) SetReadTimeout(t time.Duration) error {
	w.wait = t
	return nil
}

// Read gives what has come, or (0, nil) where nothing comes in time, as the
// library does.
func (w *wire) Read(buffer []byte) (int, error) {
	if err := w.in.SetReadDeadline(time.Now().Add(w.wait)); err != nil {
		return 0, err
	}
	n, err := w.in.Read(buffer)
	if errors.Is(err, os.ErrDeadlineExceeded) {
		err = nil
	}
	return n, err
}

func (w *wire) Close() error { return errors.Join(w.in.Close(), w.Port.Close()) }
