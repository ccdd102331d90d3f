//go:build unix

package file

import (
	"os"

	"golang.org/x/sys/unix"
)

// lock waits for an exclusive lock of a file, which ends when the file is closed.
func lock(f *os.File) error {
	for {
		if err := unix.Flock(int(f.Fd()), unix.LOCK_EX); err != unix.EINTR {
			return err
		}
	}
}
