//go:build unix

package store

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"
	"time"

	"ohmkeep/internal/run"
)

// A store has one writer, by whichever path it was opened, and only one name.
func TestStoreIsClaimedByItsFile(t *testing.T) {
	s, path := temporary(t)
	w := openWriter(t, s)
	link := filepath.Join(t.TempDir(), "link.store")
	if err := os.Symlink(path, link); err != nil {
		t.Fatal(err)
	}
	second, err := Open(link)
	if err != nil {
		t.Fatal(err)
	}
	defer second.Close()
	refused := func(name, want string) {
		t.Helper()
		if w, err := second.Writer(context.Background(), Owner{Name: "second"}); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v", name, err)
			if err == nil {
				w.Close()
			}
		}
	}
	refused("over a symbolic link", "the store is kept by a test")
	if k, held, err := FindHolder(link); err != nil || !held || k.Name != "a test" {
		t.Errorf("over a symbolic link: %v, %v, %v", k, held, err)
	}
	if runtime.GOOS == "linux" { // where one file is reached in two directories, as by a bind mount
		if err := os.Remove(path + ".lock"); err != nil {
			t.Fatal(err)
		}
		refused("without the file beside it", "reaches it under another path")
	}
	w.Close()
	hard := filepath.Join(filepath.Dir(path), "hard.store")
	if err := os.Link(path, hard); err != nil {
		t.Fatal(err)
	}
	for _, open := range []func(string) (*Store, error){Open, OpenReadOnly} {
		for _, name := range []string{hard, path} {
			if _, err := open(name); err == nil || !strings.Contains(err.Error(), "the file has 2 names (hard links)") {
				t.Errorf("%s with two names: %v", filepath.Base(name), err)
			}
		}
	}
}

// A writer notices each change of the file, its log or its directory. All that it has confirmed is
// written to a new file.
func TestDisplacedStoreLosesNothing(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	var a tally
	for _, c := range []struct {
		name, says string
		displace   func(path string) error
		kept       bool // the new file has a name of its own
	}{
		{"removed", "the store was removed or renamed", os.Remove, false},
		{"renamed", "the store was removed or renamed", func(path string) error { return os.Rename(path, path+".old") }, false},
		{"all removed", "the store was removed or renamed", func(path string) error {
			return errors.Join(os.Remove(path), os.Remove(path+"-wal"), os.Remove(path+"-shm"), os.Remove(path+".lock"))
		}, false},
		{"log removed", "the store's log (-wal) was removed", func(path string) error { return os.Remove(path + "-wal") }, false},
		{"directory renamed", "the store's directory was removed", func(path string) error {
			return os.Rename(filepath.Dir(path), filepath.Dir(path)+".old")
		}, false},
		{"directory removed", "the store's directory was removed", func(path string) error { return os.RemoveAll(filepath.Dir(path)) }, false},
		{"replaced", "another file was put in the place", func(path string) error {
			other, err := Open(path + ".other")
			if err != nil {
				return err
			}
			return errors.Join(other.Close(), os.Rename(path+".other", path))
		}, true},
	} {
		dir := filepath.Join(t.TempDir(), "kept")
		if err := os.Mkdir(dir, 0o755); err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(dir, "a.store")
		s, err := Open(path)
		if err != nil {
			t.Fatal(err)
		}
		w, err := s.Writer(ctx, Owner{Name: "a test"})
		if err != nil {
			t.Fatal(err)
		}
		h, err := w.Channel(Channel{Run: cornice.Name, Probe: "board", Quantity: run.Voltage, From: "west.1+", To: "west.1-", Unit: "mV", Meter: "hand"})
		if err != nil {
			t.Fatal(err)
		}
		for i := range 20 {
			if err := w.Append(ctx, []Sample{{Channel: h, Time: start.Add(time.Duration(i) * time.Second), Text: fmt.Sprint(i)}}); err != nil {
				t.Fatal(err)
			}
		}
		if err := c.displace(path); err != nil {
			t.Fatal(err)
		}
		a.tried++
		if err := s.Displaced(); !errors.Is(err, ErrDisplaced) || !strings.Contains(err.Error(), c.says) {
			a.unsaid++
			t.Errorf("%s: %v", c.name, err)
		}
		if err := w.Append(ctx, []Sample{{Channel: h, Time: start, Text: "99"}}); !errors.Is(err, ErrDisplaced) {
			t.Errorf("%s: a commit: %v", c.name, err)
		}
		w.Close()
		kept, err := s.MoveToNewFile(ctx)
		if err != nil || (kept != "") != c.kept {
			t.Errorf("%s: %q, %v", c.name, kept, err)
			continue
		}
		if kept == "" {
			kept = path
		}
		again, err := Open(kept)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		got := map[string]int{}
		for _, x := range all(t, again, Filter{}) {
			if !x.Time.Equal(start.Add(time.Duration(x.Value*1000+0.5) * time.Second)) { // as many millivolts as seconds
				a.misplaced++
			}
			got[x.Text]++
		}
		a.lost += 20 - len(got)
		for _, n := range got {
			a.doubled += n - 1
		}
		if found, err := again.Check(ctx); err != nil || len(found.Faults) > 0 {
			t.Errorf("%s: %v, %v", c.name, found.Faults, err)
		}
		again.Close()
		if left, _ := filepath.Glob(path + ".rescued*"); len(left) > 0 {
			t.Errorf("%s: left %v", c.name, left)
		}
	}
	a.print(t, "the file, its log or directory removed, renamed, replaced")
}

// A store that root rewrites for a service keeps its owner and mode.
func TestOwnerAndModeAreKept(t *testing.T) {
	s, path := temporary(t)
	add(t, s, "a", scans(0, 160))
	s.Close()
	if err := os.Chmod(path, 0o640); err != nil {
		t.Fatal(err)
	}
	owner := os.Getuid()
	if owner == 0 {
		owner = 1234
		if err := os.Chown(path, owner, 5678); err != nil {
			t.Fatal(err)
		}
	}
	kept := func(what, path string) {
		t.Helper()
		info, err := os.Stat(path)
		if err != nil || info.Mode().Perm() != 0o640 || int(info.Sys().(*syscall.Stat_t).Uid) != owner {
			t.Errorf("%s: %v, %+v, %v", what, info.Mode(), info.Sys(), err)
		}
	}
	s, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(s.Backup(context.Background(), path+".copy"), s.Compact(context.Background())); err != nil {
		t.Fatal(err)
	}
	w := openWriter(t, s)
	kept("the copy", path+".copy")
	kept("compacted", path)
	kept("its log", path+"-wal")
	kept("its claim", path+".lock")
	w.Close()
	s.Close()
	if _, err := Rescue(context.Background(), path); err != nil {
		t.Fatal(err)
	}
	kept("rescued", path)
}

// The files of a copy that was killed are removed later.
func TestKilledCopiesAreCleanedUp(t *testing.T) {
	s, path := temporary(t)
	to := path + ".[copy]"
	for _, name := range []string{to + ".part4194304999", to + ".part4194304999-journal"} {
		if err := os.WriteFile(name, nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.Backup(context.Background(), to); err != nil {
		t.Fatal(err)
	}
	entries, err := os.ReadDir(filepath.Dir(path))
	for _, e := range entries {
		if strings.Contains(e.Name(), ".part") {
			t.Errorf("left %s", e.Name())
		}
	}
	if err != nil || len(entries) < 2 {
		t.Errorf("%v, %v", entries, err)
	}
}

// Tables, views and triggers that do not belong to a store are refused. A rescue runs none of them.
func TestCraftedSchemaIsRefused(t *testing.T) {
	t.Parallel()
	for _, statement := range []string{
		"CREATE TRIGGER loop AFTER INSERT ON tail BEGIN INSERT INTO tail (readings, block) VALUES (1, x'00'); END",
		"CREATE VIEW endless AS WITH RECURSIVE n(x) AS (SELECT 1 UNION ALL SELECT x FROM n) SELECT x FROM n",
		"DROP TABLE mark; CREATE VIEW mark AS WITH RECURSIVE n(x) AS (SELECT 1 UNION ALL SELECT x FROM n) SELECT x AS id FROM n",
		"DROP INDEX chunk_series", "CREATE TABLE more (x)",
	} {
		s, path := temporary(t)
		add(t, s, "a", scans(0, 160))
		s.Close()
		change(t, path, statement)
		for _, open := range []func(string) (*Store, error){Open, OpenReadOnly} {
			if _, err := open(path); !Damaged(err) || !strings.Contains(err.Error(), "tampered with") {
				t.Errorf("%s: %v", statement, err)
			}
		}
		if r, err := Rescue(context.Background(), path); err != nil || r.Readings != 160 {
			t.Errorf("%s: %+v, %v", statement, r, err)
		}
		s, err := OpenReadOnly(path)
		if err != nil {
			t.Errorf("%s: after the rescue: %v", statement, err)
			continue
		}
		s.Close()
	}
}
