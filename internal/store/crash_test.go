//go:build unix

package store

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"
	"time"

	"ohmkeep/internal/numeric/heaptest"
)

// The tests of this file run this test binary again as another program. Environment variables hold
// what it does, and on which store.
const (
	taskVariable = "STORE_TEST_TASK"
	pathVariable = "STORE_TEST_PATH"
)

func TestMain(m *testing.M) {
	task, ok := map[string]func(path string) error{
		"append": appendForever,
		"write":  writeForever,
		"look":   lookWithoutRights,
		"rescue": rescueHere, "compact": compactHere,
	}[os.Getenv(taskVariable)]
	if !ok {
		os.Exit(heaptest.Run(m))
	}
	if err := task(os.Getenv(pathVariable)); err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
}

func again(t *testing.T, task, path string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(self)
	cmd.Env = append(os.Environ(), taskVariable+"="+task, pathVariable+"="+path)
	cmd.Stderr = os.Stderr
	return cmd
}

const crashBatch = 8_000

// appendForever appends batch after batch, and prints a line before and after each.
func appendForever(path string) error {
	s, err := Open(path)
	if err != nil {
		return err
	}
	for i := 0; ; i++ {
		readings := scans(i*crashBatch/16, crashBatch)
		fmt.Println("begin")
		if _, _, err := s.Append(context.Background(), cornice.Name, "a", readings); err != nil {
			return err
		}
		fmt.Println("stored")
	}
}

// A program that is killed during an Append leaves all of its readings or none, and all that was
// confirmed before.
func TestKilledWriterLeavesAllOrNothing(t *testing.T) {
	within := 0
	delays := []time.Duration{0, 5 * time.Millisecond, 15 * time.Millisecond}
	for round := 0; round < len(delays) || within == 0 && round < 50; round++ { // on a busy machine a kill may come late
		delay := delays[round%len(delays)]
		path := filepath.Join(t.TempDir(), "crash.store")
		cmd := again(t, "append", path)
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		began, stored := 0, 0
		for lines := bufio.NewScanner(out); lines.Scan(); {
			switch lines.Text() {
			case "begin":
				if began++; began == 2 {
					time.Sleep(delay)
					cmd.Process.Kill()
				}
			case "stored":
				stored++
			default:
				t.Errorf("the writer says: %s", lines.Text())
			}
		}
		cmd.Wait()
		if began > stored {
			within++
		}
		for name, open := range map[string]func(string) (*Store, error){"OpenReadOnly": OpenReadOnly, "Open": Open} {
			s, err := open(path)
			if err != nil {
				t.Fatalf("%s after the crash: %v", name, err)
			}
			n := len(all(t, s, Filter{}))
			if n != stored*crashBatch && n != began*crashBatch {
				t.Errorf("%s: %d readings after %d confirmed batches of %d", name, n, stored, crashBatch)
			}
			s.Close()
		}
	}
	if within == 0 {
		t.Error("no kill came within an Append")
	}
}

// lookWithoutRights opens a store as a user without the right to write there.
func lookWithoutRights(path string) error {
	if os.Geteuid() == 0 {
		const otherUser = 65534 // any user other than root
		if err := syscall.Setuid(otherUser); err != nil {
			return err
		}
	}
	if s, err := Open(path); err == nil || !strings.Contains(err.Error(), "check the rights") {
		return fmt.Errorf("Open: %v, %v", s, err)
	}
	if s, err := Open(filepath.Join(filepath.Dir(path), "new.store")); err == nil || !strings.Contains(err.Error(), "check the rights") {
		return fmt.Errorf("Open of a new store: %v, %v", s, err)
	}
	s, err := OpenReadOnly(path)
	if err != nil {
		return err
	}
	defer s.Close()
	n := 0
	for _, err := range s.Readings(context.Background(), cornice.Name, Filter{}) {
		if err != nil {
			return err
		}
		n++
	}
	fmt.Println(n, "readings")
	return nil
}

func TestReadOnlyDirectory(t *testing.T) {
	dir, err := os.MkdirTemp("", "store") // t.TempDir lies in a directory that is closed to others
	if err != nil {
		t.Fatal(err)
	}
	defer os.RemoveAll(dir)
	path := filepath.Join(dir, "a.store")
	s, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	add(t, s, "a", scans(0, 16))
	s.Close()
	for name, mode := range map[string]os.FileMode{path: 0o444, dir: 0o555} {
		if err := os.Chmod(name, mode); err != nil {
			t.Fatal(err)
		}
	}
	defer os.Chmod(dir, 0o755)
	out, err := again(t, "look", path).Output()
	if got := string(out); err != nil || got != "16 readings\n" {
		t.Errorf("%v: %s", err, got)
	}
}

// rescueHere and compactHere work on one thread, whose calls strace counts.
func rescueHere(path string) error {
	runtime.LockOSThread()
	_, err := Rescue(context.Background(), path)
	return err
}

func compactHere(path string) error {
	runtime.LockOSThread()
	s, err := Open(path)
	if err != nil {
		return err
	}
	if err := s.Compact(context.Background()); err != nil {
		return err
	}
	return s.Close()
}
