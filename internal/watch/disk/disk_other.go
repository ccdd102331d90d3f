//go:build !linux

package disk

import "errors"

// Look looks at the disk that holds a path; on Linux only.
func Look(string) (Space, error) { return Space{}, errors.ErrUnsupported }
