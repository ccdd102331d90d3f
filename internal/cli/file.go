package cli

import (
	"errors"
	"fmt"
	"io/fs"
	"os"

	"ohmkeep/internal/fault"
)

// reason returns an error of the file system in a form that names the file once and
// leaves out the name of the system call.
func reason(err error) error {
	var at *os.PathError
	if errors.As(err, &at) {
		return fmt.Errorf("%s: %w", at.Path, at.Err)
	}
	return err
}

// exists returns an error if there is no store at a path. Opening would create one, even
// for a mistyped name.
func exists(path string) error {
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		return fault.Fault{File: path, Text: "there is no such store", Hint: "name the one that the readings are in"}
	}
	return nil
}
