//go:build unix

package sqlitefile

import (
	"errors"
	"io/fs"
	"os"
	"syscall"
)

// copyOwner gives a file the mode and, if permitted, the owner of another, so that a file that
// root makes for a service belongs to the service. If the other does not exist, it does nothing.
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

// links returns the number of hard links of a file.
func links(info os.FileInfo) int {
	if x, ok := info.Sys().(*syscall.Stat_t); ok {
		return int(x.Nlink)
	}
	return 1
}

// processExists reports whether a process with an id exists.
func processExists(process int) bool {
	err := syscall.Kill(process, 0)
	return err == nil || errors.Is(err, syscall.EPERM)
}
