package sqlitefile

import "os"

// copyOwner does nothing: files inherit the permissions of their directory.
func copyOwner(_, _ string) error { return nil }

// links returns 1: hard links are not counted on this system.
func links(os.FileInfo) int { return 1 }

// processExists reports whether a process with an id exists.
func processExists(process int) bool {
	p, err := os.FindProcess(process)
	if err == nil {
		_ = p.Release() // it is not needed further
	}
	return err == nil
}
