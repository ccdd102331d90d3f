package port

import (
	"errors"
	"fmt"
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
	in     *os.File // holds the lock
	polled bool     // in is read; otherwise the library reads, because the runtime cannot poll the device
	wait   time.Duration
}

// openWire opens a serial port. The library still sets it up and writes.
//
// The port is locked with flock(2) until it is closed, because two readers would each get parts of
// the lines. The exclusive mode that the library sets (TIOCEXCL) does not bind root.
func openWire(path string, mode *serial.Mode) (serial.Port, error) {
	// Opened before the library does, because no other user can open the port after that. An error
	// here occurs again in the library, which returns it in its own words.
	fd, opening := unix.Open(path, unix.O_RDONLY|unix.O_NOCTTY|unix.O_NONBLOCK|unix.O_CLOEXEC, 0)
	if opening != nil {
		conn, err := serial.Open(path, mode)
		if err != nil {
			return nil, err
		}
		_ = conn.Close() // nothing was read or written
		return nil, opening
	}
	in := os.NewFile(uintptr(fd), path)
	conn, err := openLocked(in, path, mode)
	if err != nil {
		_ = in.Close() // nothing was read or written
		return nil, err
	}
	return &wire{Port: conn, in: in, polled: in.SetReadDeadline(time.Time{}) == nil}, nil
}

// openLocked locks the device of in and opens it with the library. The error is ErrInUse if another
// descriptor holds the lock.
func openLocked(in *os.File, path string, mode *serial.Mode) (serial.Port, error) {
	switch err := flock(in); {
	case errors.Is(err, unix.EWOULDBLOCK):
		return nil, ErrInUse
	case err != nil:
		return nil, fmt.Errorf("lock the port: %w", err)
	}
	conn, err := serial.Open(path, mode)
	if err != nil {
		return nil, err
	}
	if !sameDevice(in, path) {
		_ = conn.Close() // nothing was read or written
		return nil, ErrGone
	}
	return conn, nil
}

// flock locks an opened file for as long as it is open, without waiting for the lock.
func flock(f *os.File) error {
	raw, err := f.SyscallConn()
	if err != nil {
		return err
	}
	var locking error
	err = raw.Control(func(fd uintptr) { locking = unix.Flock(int(fd), unix.LOCK_EX|unix.LOCK_NB) })
	return errors.Join(err, locking)
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
	return w.Port.SetReadTimeout(t)
}

// Read returns the received bytes, or (0, nil) after the time-out, like the library.
func (w *wire) Read(buffer []byte) (int, error) {
	if !w.polled {
		return w.Port.Read(buffer)
	}
	if err := w.in.SetReadDeadline(time.Now().Add(w.wait)); err != nil {
		return 0, err
	}
	n, err := w.in.Read(buffer)
	if errors.Is(err, os.ErrDeadlineExceeded) {
		err = nil
	}
	return n, err
}

// Close closes the library's descriptor first, so that the port is locked until it is free.
func (w *wire) Close() error {
	err := w.Port.Close()
	return errors.Join(w.in.Close(), err)
}
