//go:build !linux

package machine

import "errors"

// ReadDiskSpace returns the space on the disk that holds a path; on Linux only.
func ReadDiskSpace(string) (DiskSpace, error) { return DiskSpace{}, errors.ErrUnsupported }
