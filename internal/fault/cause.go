package fault

import (
	"errors"
	"io/fs"
	"os"
)

// Cause takes off an error of the file system what was called and which file: the caller
// names the file as the user did. Other errors stay as they are.
func Cause(err error) error {
	if at, ok := errors.AsType[*fs.PathError](err); ok {
		return at.Err
	}
	if link, ok := errors.AsType[*os.LinkError](err); ok {
		return link.Err
	}
	return err
}
