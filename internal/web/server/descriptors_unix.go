//go:build unix

package server

import (
	"errors"
	"syscall"
)

// descriptors returns the largest number of descriptors that the program may have open.
func descriptors() int {
	var limit syscall.Rlimit
	if syscall.Getrlimit(syscall.RLIMIT_NOFILE, &limit) != nil {
		return 1024 // the usual limit
	}
	return int(min(limit.Cur, 1<<20))
}

// outOfDescriptors reports whether an error means that no more descriptor can be opened.
func outOfDescriptors(err error) bool {
	return errors.Is(err, syscall.EMFILE) || errors.Is(err, syscall.ENFILE)
}
