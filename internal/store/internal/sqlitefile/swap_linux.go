package sqlitefile

import (
	"errors"

	"golang.org/x/sys/unix"
)

// exchangeNames exchanges the names of two files of a file system in one step. The error is
// errors.ErrUnsupported if that is not possible, or one of them does not exist.
func exchangeNames(a, b string) error {
	err := unix.Renameat2(unix.AT_FDCWD, a, unix.AT_FDCWD, b, unix.RENAME_EXCHANGE)
	switch {
	case errors.Is(err, unix.EINVAL), errors.Is(err, unix.ENOSYS), errors.Is(err, unix.ENOTSUP), errors.Is(err, unix.ENOENT):
		return errors.ErrUnsupported
	}
	return err
}
