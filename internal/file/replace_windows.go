package file

import (
	"errors"
	"io"
	"os"
	"path/filepath"
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
	return os.Rename(f.Name(), path)
}
