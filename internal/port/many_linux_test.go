package port_test

import (
	"os"
	"strings"
	"syscall"
	"testing"
	"time"

	"ohmkeep/internal/bench"
	"ohmkeep/internal/port"
)

// select(2) cannot name a descriptor from 1024 up; the library panics there.
func TestManyOpenFiles(t *testing.T) {
	var limit syscall.Rlimit
	if err := syscall.Getrlimit(syscall.RLIMIT_NOFILE, &limit); err != nil || limit.Cur < 1100 {
		t.Skip("this process may not open that many files")
	}
	pair, err := bench.Terminal()
	if err != nil {
		t.Skip("no pseudo-terminals here: ", err)
	}
	defer pair.Device.Close()
	for range 1030 {
		f, err := os.Open(os.DevNull)
		if err != nil {
			t.Skip("this process may not open that many files: ", err)
		}
		defer f.Close()
	}
	if _, err := port.Open(t.Context(), pair.Path, settings, time.Now); err == nil || !strings.Contains(err.Error(), "too many open files") {
		t.Errorf("got %v", err)
	}
}
