//go:build unix

package sqlitefile

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

// lockFile takes an exclusive lock (alone) or a shared one. It does not wait.
func lockFile(file *os.File, alone bool) error {
	how := unix.LOCK_SH
	if alone {
		how = unix.LOCK_EX
	}
	err := unix.Flock(int(file.Fd()), how|unix.LOCK_NB)
	if errors.Is(err, unix.EWOULDBLOCK) {
		return errClaimed
	}
	return err
}

// removeLocked removes a file that this process has locked, and closes it: nothing else can lock
// it before it is gone.
func removeLocked(path string, file *os.File) error {
	return errors.Join(os.Remove(path), file.Close())
}

// unlockFile removes the lock.
func unlockFile(file *os.File) error { return unix.Flock(int(file.Fd()), unix.LOCK_UN) }
