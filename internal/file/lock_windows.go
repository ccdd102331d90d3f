package file

import (
	"os"

	"golang.org/x/sys/windows"
)

// lock waits for an exclusive lock of a file, which ends when the file is closed. It locks a byte far after
// the end of the file, so that others can read the content.
func lock(f *os.File) error {
	return windows.LockFileEx(windows.Handle(f.Fd()), windows.LOCKFILE_EXCLUSIVE_LOCK, 0, 1, 0, &windows.Overlapped{Offset: 1 << 20})
}
