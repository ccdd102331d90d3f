package file

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"time"

	"golang.org/x/sys/windows"
)

// replace writes a file under another name, flushes it to the disk and renames it.
// renameio leaves Windows out, because its MoveFileEx does not promise that the change
// of names is atomic on every file system; on a local NTFS disk it is in practice.
func replace(path string, write func(io.Writer) error) error {
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+"*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name()) // gone already after the renaming
	err = write(f)
	if err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return err
	}
	return patiently(func() error { return os.Rename(f.Name(), path) })
}

// patiently repeats what another program prevents that has the file open for a moment, such as one
// that reads it or looks for viruses.
func patiently(do func() error) error {
	for tries := 0; ; tries++ {
		err := do()
		busy := errors.Is(err, windows.ERROR_ACCESS_DENIED) || errors.Is(err, windows.ERROR_SHARING_VIOLATION)
		if !busy || tries == mostTries {
			return err
		}
		time.Sleep(betweenTries)
	}
}

// A program that reads a small file has it open for some milliseconds.
const (
	mostTries    = 50
	betweenTries = 10 * time.Millisecond
)
