//go:build unix

package service

import (
	"errors"
	"syscall"
)

// descriptors returns how many descriptors the program may open.
func descriptors() int {
	var limit syscall.Rlimit
	if syscall.Getrlimit(syscall.RLIMIT_NOFILE, &limit) != nil {
		return 1024 // what systems usually grant
	}
	return int(min(limit.Cur, 1<<20))
}

// outOfDescriptors reports whether an error means that no more descriptor is to be had.
func outOfDescriptors(err error) bool {
	return errors.Is(err, syscall.EMFILE) || errors.Is(err, syscall.ENFILE)
}
