package cli

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

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

// writeFile writes a file whole or not at all: a temporary neighbour is renamed.
func writeFile(path string, write func(io.Writer) error) error {
	file, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+".*")
	if err != nil {
		return fmt.Errorf("%s: %w", path, fault.Cause(err))
	}
	defer os.Remove(file.Name()) // gone already after the rename
	err = write(file)
	if err == nil {
		err = file.Chmod(0o644)
	}
	if closing := file.Close(); err == nil {
		err = closing
	}
	if err == nil {
		err = os.Rename(file.Name(), path)
	}
	if err != nil {
		return fmt.Errorf("%s: %w", path, fault.Cause(err))
	}
	return nil
}
