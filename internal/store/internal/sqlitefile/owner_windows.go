package sqlitefile

import "os"

// copyOwner does nothing: files take the rights of their directory.
func copyOwner(_, _ string) error { return nil }

// links returns how many names a file has, as far as the system says.
func links(os.FileInfo) int { return 1 }

// processExists reports whether a process runs.
func processExists(process int) bool {
	p, err := os.FindProcess(process)
	if err == nil {
		_ = p.Release() // it was only looked for
	}
	return err == nil
}
