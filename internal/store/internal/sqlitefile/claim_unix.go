//go:build unix

package sqlitefile

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

// lockFile locks a file for one alone, or beside others that do not want it alone.
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

// unlockFile takes the lock away.
func unlockFile(file *os.File) error { return unix.Flock(int(file.Fd()), unix.LOCK_UN) }
