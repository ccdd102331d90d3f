//go:build unix

package lock

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

func take(f *os.File) error { return flock(f, unix.LOCK_EX) }

// probe tells whether somebody holds the lock; it asks for a shared one, which is
// given back when the file is closed.
func probe(f *os.File) error { return flock(f, unix.LOCK_SH) }

func flock(f *os.File, how int) error {
	err := unix.Flock(int(f.Fd()), how|unix.LOCK_NB)
	if errors.Is(err, unix.EWOULDBLOCK) {
		return errHeld
	}
	return err
}
