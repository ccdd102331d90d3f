package database

import (
	"errors"
	"os"

	"golang.org/x/sys/windows"
)

// lock locks a byte far behind what the file says, which others may read.
func lock(file *os.File) error {
	where := windows.Overlapped{Offset: 1 << 20}
	err := windows.LockFileEx(windows.Handle(file.Fd()), windows.LOCKFILE_EXCLUSIVE_LOCK|windows.LOCKFILE_FAIL_IMMEDIATELY, 0, 1, 0, &where)
	if errors.Is(err, windows.ERROR_LOCK_VIOLATION) {
		return errClaimed
	}
	return err
}
