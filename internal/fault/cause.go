package fault

import (
	"errors"
	"io/fs"
	"os"
	"syscall"
)

// Cause returns the cause of an error of the file system without the operation and the file, which
// the caller names as the user did. A missing file has the same text on every system. Other errors
// are returned unchanged.
func Cause(err error) error {
	if at, ok := errors.AsType[*fs.PathError](err); ok {
		err = at.Err
	} else if link, ok := errors.AsType[*os.LinkError](err); ok {
		err = link.Err
	}
	if _, ok := err.(syscall.Errno); ok && errors.Is(err, fs.ErrNotExist) {
		return Missing
	}
	return err
}

// Missing is the cause of an error that a file or a device does not exist: errors.Is(Missing,
// fs.ErrNotExist) holds.
var Missing error = missing{}

type missing struct{}

func (missing) Error() string        { return "no such file or directory" }
func (missing) Is(target error) bool { return target == fs.ErrNotExist }
