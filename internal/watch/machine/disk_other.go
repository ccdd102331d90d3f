//go:build !linux

package machine

import "errors"

// LookAtDisk returns the space on the disk that holds a path; on Linux only.
func LookAtDisk(string) (DiskSpace, error) { return DiskSpace{}, errors.ErrUnsupported }
