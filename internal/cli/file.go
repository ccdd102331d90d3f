package cli

import (
	"errors"
	"fmt"
	"io/fs"
	"os"

	"ohmkeep/internal/fault"
)

// fileError returns an error of the file system in a form that names the file once and
// leaves out the name of the system call.
func fileError(err error) error {
	var at *os.PathError
	if errors.As(err, &at) {
		return fmt.Errorf("%s: %w", at.Path, at.Err)
	}
	return err
}

// checkStoreExists returns an error if there is no store at a path. Opening would create one, even
// for a mistyped name.
func checkStoreExists(path string) error {
	const hint = "name the one that the readings are in"
	switch info, err := os.Stat(path); {
	case errors.Is(err, fs.ErrNotExist):
		return fault.Fault{File: path, Text: "there is no such store", Hint: hint}
	case err == nil && info.Mode().IsRegular() && info.Size() == 0:
		return fault.Fault{File: path, Text: "the file is empty, and no store", Hint: hint}
	}
	return nil
}
