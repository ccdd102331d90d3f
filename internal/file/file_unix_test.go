//go:build !windows

package file

import (
	"syscall"
	"testing"
)

// A named pipe without a writer would block, a device may never end.
func TestDevicesAndPipesAreNoFiles(t *testing.T) {
	t.Chdir(t.TempDir())
	if err := syscall.Mkfifo("pipe", 0o600); err != nil {
		t.Fatal(err)
	}
	for path, is := range map[string]string{"pipe": "pipe: is a named pipe, not a file", "/dev/zero": "/dev/zero: is a device, not a file", "/dev/full": "is a device"} {
		_, err := Read(path, 1<<20)
		wants(t, "to read "+path, err, is)
		wants(t, "to write "+path, Output{Path: path, Kind: Page, Force: true}.Check(), is)
	}
}
