//go:build unix

package sqlitefile

import (
	"errors"
	"io/fs"
	"os"
	"syscall"
)

// copyOwner returns a file the mode and, where that is allowed, the owner of another: what
// root makes for a service stays the service's. Where the other is gone nothing is done.
func copyOwner(from, to string) error {
	info, err := os.Stat(from)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	} else if err != nil {
		return err
	}
	if owner, ok := info.Sys().(*syscall.Stat_t); ok {
		if err := os.Chown(to, int(owner.Uid), int(owner.Gid)); err != nil && !errors.Is(err, fs.ErrPermission) {
			return err
		}
	}
	return os.Chmod(to, info.Mode().Perm())
}

// links returns how many names a file has.
func links(info os.FileInfo) int {
	if x, ok := info.Sys().(*syscall.Stat_t); ok {
		return int(x.Nlink)
	}
	return 1
}

// processExists reports whether a process runs.
func processExists(process int) bool {
	err := syscall.Kill(process, 0)
	return err == nil || errors.Is(err, syscall.EPERM)
}
