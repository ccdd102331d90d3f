//go:build unix

package store

import (
	"syscall"
	"testing"
	"time"
)

// processorTime returns the processor time of this program.
func processorTime(t testing.TB) time.Duration {
	var used syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &used); err != nil {
		t.Fatal(err)
	}
	return time.Duration(used.Utime.Nano() + used.Stime.Nano())
}
