//go:build !linux

package sqlitefile

import "errors"

// exchangeNames is not possible on this system.
func exchangeNames(string, string) error { return errors.ErrUnsupported }
