package file

import (
	"fmt"
	"os"

	"ohmkeep/internal/fault"
)

// Locked calls do while no other program or goroutine is within Locked of the same file, which must exist.
// The file can be read meanwhile.
func Locked(path string, do func() error) error {
	f, err := os.Open(path)
	if err != nil {
		return fmt.Errorf("%s: %w", path, fault.Cause(err))
	}
	defer f.Close() // ends the lock
	if err := lock(f); err != nil {
		return fmt.Errorf("%s: it cannot be locked: %w", path, fault.Cause(err))
	}
	return do()
}
