//go:build !linux

package sqlitefile

import "errors"

// swap is not possible on this system.
func swap(string, string) error { return errors.ErrUnsupported }
