package store

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/fault"
)

// change runs a statement on a database without the store.
func change(t *testing.T, path, statement string) {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec(statement); err != nil {
		t.Fatal(err)
	}
}

func TestWhatIsNoStoreIsRefusedAndLeftAlone(t *testing.T) {
	dir := t.TempDir()
	put := func(name, content string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(content), 0o644); err != nil {
			t.Fatal(err)
		}
		return path
	}
	foreign := filepath.Join(dir, "foreign.db")
	change(t, foreign, "CREATE TABLE plants (name TEXT)")
	newer := filepath.Join(dir, "newer.store")
	if s, err := Open(newer); err != nil {
		t.Fatal(err)
	} else {
		s.Close()
	}
	change(t, newer, "PRAGMA user_version = 99")
	older := filepath.Join(dir, "older.store")
	if s, err := Open(older); err != nil {
		t.Fatal(err)
	} else {
		s.Close()
	}
	change(t, older, "PRAGMA user_version = 2")

	for _, c := range []struct{ name, path, write, read string }{
		{"no name", "", "the store has no name", "the store has no name"},
		{"short garbage", put("short", "x"), "this is not a store", "this is not a store"},
		{"a file of readings", put("r.csv", kept), "this is not a store", "this is not a store"},
		{"long garbage", put("long", strings.Repeat("garbage ", 2000)), "this is not a store", "this is not a store"},
		{"half a header", put("half", "SQLite format 3\x00"), "this is not a store", "this is not a store"},
		{"another's database", foreign, "not a store of readings", "not a store of readings"},
		{"newer layout", newer, "the store has layout 99", "use the newer version"},
		{"older layout", older, "the store has layout 2 of an earlier program", "export the readings with the program that made it"},
		{"directory", dir, "this is not a file", "this is not a file"},
		{"in no directory", filepath.Join(dir, "none", "a.store"), "its directory does not exist", "there is no such store"},
		{"under a file", filepath.Join(put("plain", "x"), "a.store"), "not a directory", "not a directory"},
		{"zero in the name", filepath.Join(dir, "a\x00b"), "invalid argument", "invalid argument"},
	} {
		t.Run(c.name, func(t *testing.T) {
			before, _ := os.ReadFile(c.path)
			s, err := Open(c.path)
			if err == nil {
				s.Close()
			}
			if err == nil || !strings.Contains(err.Error(), c.write) || strings.Count(err.Error(), "\n") > 0 {
				t.Errorf("Open: %v, want %s", err, c.write)
			}
			s, err = OpenReadOnly(c.path)
			if err == nil {
				s.Close()
			}
			if err == nil || !strings.Contains(err.Error(), c.read) {
				t.Errorf("OpenReadOnly: %v, want %s", err, c.read)
			}
			if after, _ := os.ReadFile(c.path); string(after) != string(before) {
				t.Error("the file was changed")
			}
		})
	}
}

func TestNewAndEmptyFiles(t *testing.T) {
	path := filepath.Join(t.TempDir(), "new.store")
	if _, err := OpenReadOnly(path); err == nil || !strings.Contains(err.Error(), "there is no such store") {
		t.Errorf("missing: %v", err)
	}
	if err := os.WriteFile(path, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := OpenReadOnly(path); err == nil || !strings.Contains(err.Error(), "the store is empty") {
		t.Errorf("empty: %v", err)
	}
	s, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	add(t, s, "a", scans(0, 16))
}

// Characters with a meaning in a file URI are plain characters in a path.
func TestOddPaths(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	for _, name := range []string{"a?mode=ro", "a#b", "100%41", "two words", "a&b=c", "ü+ß", ":memory:", "file:x"} {
		path := filepath.Join(dir, name)
		s, err := Open(path)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		add(t, s, "a", scans(0, 16))
		s.Close()
		if info, err := os.Stat(path); err != nil || info.Size() == 0 {
			t.Errorf("%s: the file is not there: %v", name, err)
		}
		s, err = OpenReadOnly("/" + path) // a second slash names no host
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if n := len(all(t, s, Filter{})); n != 16 {
			t.Errorf("%s: %d readings", name, n)
		}
		s.Close()
	}
}

func TestSettingsHoldOnTheConnectionThatWrites(t *testing.T) {
	s, _ := temporary(t)
	s.db.Write.SetMaxIdleConns(0) // each statement opens a connection of its own
	// synchronous: 2 is FULL (SQLite, PRAGMA synchronous).
	for pragma, want := range map[string]string{"journal_mode": "wal", "synchronous": "2", "foreign_keys": "1", "busy_timeout": "5000"} {
		var got string
		if err := s.db.Write.QueryRow("PRAGMA " + pragma).Scan(&got); err != nil || got != want {
			t.Errorf("%s = %s, %v, want %s", pragma, got, err, want)
		}
	}
}

func TestReadOnlyStoreDoesNotWrite(t *testing.T) {
	s, path := temporary(t)
	add(t, s, "a", scans(0, 16))
	reader, err := OpenReadOnly(path)
	if err != nil {
		t.Fatal(err)
	}
	defer reader.Close()
	if _, _, err := reader.Append(context.Background(), cornice.Name, "b", scans(9, 16)); err == nil ||
		!strings.Contains(err.Error(), "opened for reading only") {
		t.Errorf("Append: %v", err)
	}
	if _, err := reader.db.Read.Exec("DELETE FROM chunk"); err == nil {
		t.Error("the connections of a reader can write")
	}
	if _, err := s.db.Read.Exec("DELETE FROM chunk"); err == nil {
		t.Error("a writer's connections for reading can write")
	}
	if n := len(all(t, reader, Filter{})); n != 16 {
		t.Errorf("%d readings", n)
	}
}

func TestSecondWriterWaitsThenGivesUp(t *testing.T) {
	s, path := temporary(t)
	second, err := open(path, 30*time.Millisecond)
	if err != nil {
		t.Fatal(err)
	}
	defer second.Close()
	tx, err := s.db.Write.Begin()
	if err != nil {
		t.Fatal(err)
	}
	_, _, err = second.Append(context.Background(), cornice.Name, "a", scans(0, 16))
	if f, ok := errors.AsType[fault.Fault](err); !ok || f.File != path || !strings.Contains(err.Error(), "another program is writing") {
		t.Errorf("while another writes: %v", err)
	}
	if _, err := open(path, time.Millisecond); err == nil || !strings.Contains(err.Error(), "another program is writing") {
		t.Errorf("Open while another writes: %v", err)
	}
	tx.Rollback()
	add(t, second, "a", scans(0, 16))
	add(t, s, "b", scans(9, 16))
	if n := len(all(t, second, Filter{})); n != 32 {
		t.Errorf("%d readings", n)
	}
}

func TestFullDiskStoresNothing(t *testing.T) {
	s, path := temporary(t)
	add(t, s, "a", scans(0, 16))
	// SQLite's own limit gives the error that a full disk gives.
	if _, err := s.db.Write.Exec("PRAGMA max_page_count = 20"); err != nil {
		t.Fatal(err)
	}
	_, _, err := s.Append(context.Background(), cornice.Name, "b", scans(9, 16_000))
	if err == nil || !strings.HasPrefix(err.Error(), path+": the disk is full") {
		t.Errorf("got %v", err)
	}
	if n := len(all(t, s, Filter{})); n != 16 {
		t.Errorf("%d readings, want the 16 from before", n)
	}
	if _, err := s.db.Write.Exec("PRAGMA max_page_count = 100000"); err != nil {
		t.Fatal(err)
	}
	if added, _ := add(t, s, "b", scans(9, 160)); added != 160 {
		t.Errorf("with room again: %d added", added)
	}
}

// Reading leaves no file beside a store that was closed properly.
func TestReadingLeavesNothingBehind(t *testing.T) {
	s, path := temporary(t)
	add(t, s, "a", scans(0, 32))
	s.Close()
	before, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for range 2 {
		s, err := OpenReadOnly(path)
		if err != nil {
			t.Fatal(err)
		}
		if n := len(all(t, s, Filter{})); n != 32 {
			t.Errorf("%d readings", n)
		}
		if _, _, err := s.Append(context.Background(), cornice.Name, "b", scans(1, 1)); err == nil {
			t.Error("it was written to")
		}
		if err := s.Backup(context.Background(), path+".copy"); err != nil {
			t.Fatal(err)
		}
		s.Close()
	}
	names, _ := filepath.Glob(path + "*")
	if len(names) != 2 { // and the copy
		t.Errorf("left %v", names)
	}
	if after, err := os.ReadFile(path); err != nil || !bytes.Equal(before, after) {
		t.Errorf("the store has changed: %v", err)
	}
}
