package cli

import (
	"errors"
	"fmt"
	"io/fs"
	"os"

	"ohmkeep/internal/fault"
)

// reason shortens an error of the file system to one that names the file once, and
// says nothing of the call that did not succeed.
func reason(err error) error {
	var at *os.PathError
	if errors.As(err, &at) {
		return fmt.Errorf("%s: %w", at.Path, at.Err)
	}
	return err
}

// exists wants a store to be there, where opening would make one of a slip.
func exists(path string) error {
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		return fault.Fault{File: path, Text: "there is no such store", Hint: "name the one that the readings are in"}
	}
	return nil
}
