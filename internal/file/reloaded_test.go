package file

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"syscall"
	"testing"
)

// A value follows its file; where the file is bad, the last good value stays, and the fault is kept
// until the file has changed.
func TestReloaded(t *testing.T) {
	t.Chdir(t.TempDir())
	bad := errors.New("bad")
	reads, rereads := 0, 0
	read := func() (string, error) {
		reads++
		content, err := Read("value", 100)
		if err == nil && string(content) == "bad" {
			err = bad
		}
		return string(content), err
	}
	if _, err := NewReloaded(read, nil, "value"); !errors.Is(err, fs.ErrNotExist) {
		t.Fatal(err)
	}
	write(t, "value", "first")
	r, err := NewReloaded(read, func(error) { rereads++ }, "value")
	if err != nil {
		t.Fatal(err)
	}
	reads = 0
	check := func(what, want string, wantErr error, wantReads int) {
		t.Helper()
		for range 3 {
			if got, err := r.Value(); got != want || !errors.Is(err, wantErr) {
				t.Errorf("%s: %q, %v", what, got, err)
			}
		}
		if reads != wantReads || rereads != wantReads {
			t.Errorf("%s: read %d times, reported %d times, want %d", what, reads, rereads, wantReads)
		}
	}
	check("unchanged", "first", nil, 0)
	write(t, "value", "second one")
	check("written", "second one", nil, 1)
	write(t, "value", "bad")
	check("bad", "second one", bad, 2)
	if err := os.Remove("value"); err != nil {
		t.Fatal(err)
	}
	check("removed", "second one", fs.ErrNotExist, 3)
	write(t, "new", "third one!")
	if err := os.Rename("new", "value"); err != nil {
		t.Fatal(err)
	}
	check("renamed to it", "third one!", nil, 4)
}

// A file that cannot be read for a moment, as one that another program has opened on Windows, is read
// again although it has not changed; that it could not be read is said once.
func TestReloadedAfterABusyFile(t *testing.T) {
	t.Chdir(t.TempDir())
	busy, rereads := false, 0
	read := func() (string, error) {
		if busy {
			return "", fmt.Errorf("value: %w", syscall.EACCES)
		}
		content, err := Read("value", 100)
		return string(content), err
	}
	write(t, "value", "first")
	r, err := NewReloaded(read, func(error) { rereads++ }, "value")
	if err != nil {
		t.Fatal(err)
	}
	write(t, "value", "second one")
	busy = true
	for range 3 {
		if got, err := r.Value(); got != "first" || err == nil {
			t.Errorf("busy: %q, %v", got, err)
		}
	}
	busy = false
	for range 3 {
		if got, err := r.Value(); got != "second one" || err != nil {
			t.Errorf("after it was busy: %q, %v", got, err)
		}
	}
	if rereads != 2 {
		t.Errorf("reported %d times, want once that it is busy and once that it was read", rereads)
	}
}
