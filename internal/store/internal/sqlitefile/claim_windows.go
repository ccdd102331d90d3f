package sqlitefile

import (
	"errors"
	"os"

	"golang.org/x/sys/windows"
)

// lock locks a byte far behind what the file says, which others may read: for one
// alone, or beside others that do not want it alone.
func lock(file *os.File, alone bool) error {
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

// unlock does nothing: the lock goes with the descriptor.
func unlock(*os.File) error { return nil }
