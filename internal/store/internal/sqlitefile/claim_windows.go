package sqlitefile

import (
	"errors"
	"os"

	"golang.org/x/sys/windows"
)

// lockFile takes an exclusive lock (alone) or a shared one. It locks a byte far after the end of
// the file, so that others can read the content.
func lockFile(file *os.File, alone bool) error {
	how := uint32(windows.LOCKFILE_FAIL_IMMEDIATELY)
	if alone {
		how |= windows.LOCKFILE_EXCLUSIVE_LOCK
	}
	where := windows.Overlapped{Offset: 1 << 20}
	err := windows.LockFileEx(windows.Handle(file.Fd()), how, 0, 1, 0, &where)
	if errors.Is(err, windows.ERROR_LOCK_VIOLATION) {
		return errClaimed
	}
	return err
}

// removeLocked closes a file that this process has locked, and removes it, since a file that is
// open cannot be removed. If another program has opened it meanwhile, it stays and is that program's.
func removeLocked(path string, file *os.File) error {
	err := errors.Join(file.Close(), os.Remove(path))
	if errors.Is(err, windows.ERROR_SHARING_VIOLATION) {
		return nil
	}
	return err
}

// unlockFile does nothing: the lock ends when the descriptor is closed.
func unlockFile(*os.File) error { return nil }
