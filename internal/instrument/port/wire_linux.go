package port

import (
	"errors"
	"os"
	"time"

	"go.bug.st/serial"
	"golang.org/x/sys/unix"
)

// wire is a serial port that is read through a file descriptor of its own, which the runtime polls
// together with all others. The library waits for each port inside the system. That keeps one
// thread for each port, and the runtime checks for many a millisecond after every line whether the
// thread is back, which costs twice as much as everything else done for a line.
type wire struct {
	serial.Port
	in   *os.File
	wait time.Duration
}

// openWire opens a serial port. The library still sets it up, locks it, and writes.
func openWire(path string, mode *serial.Mode) (serial.Port, error) {
	// Opened before the library does, because the library locks the port. An error here occurs
	// again in the library, which returns it in its own words.
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

// sameDevice reports whether a path still refers to the opened file: between two openings a device
// may have been unplugged and another one plugged in.
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

// Read returns the received bytes, or (0, nil) after the time-out, like the library.
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
