//go:build !windows

package file

import (
	"io"
	"path/filepath"

	"github.com/google/renameio/v2"
)

// replace writes a file under another name, flushes it to the disk and renames it. A
// file that was there keeps its permissions.
func replace(path string, write func(io.Writer) error) error {
	f, err := renameio.NewPendingFile(path, renameio.WithTempDir(filepath.Dir(path)), renameio.WithPermissions(0o644), renameio.WithExistingPermissions())
	if err != nil {
		return err
	}
	defer f.Cleanup() // does nothing after the renaming
	if err := write(f); err != nil {
		return err
	}
	return f.CloseAtomicallyReplace()
}
