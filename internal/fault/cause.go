package fault

import (
	"errors"
	"io/fs"
	"os"
	"syscall"
)

// Cause takes off an error of the file system what was called and which file: the caller
// names the file as the user did. That a file does not exist has the same words on every
// system. Other errors stay as they are.
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
