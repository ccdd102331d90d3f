package sqlitefile

import (
	"database/sql"
	"encoding/json"
	"os"
	"path/filepath"
	"testing"
)

// An exchange that was interrupted after any of its steps is completed at the next start. At no
// moment is there no store.
func TestExchangeIsFinished(t *testing.T) {
	schema := Schema{Application: 77, Version: 1, PageSize: 1024, SQL: "CREATE TABLE word (text TEXT) STRICT"}
	word := func(path string) string {
		t.Helper()
		db, err := Open(path, schema, BusyTimeout)
		if err != nil {
			t.Fatal(err)
		}
		defer db.Close()
		var text string
		if err := db.Read.QueryRow("SELECT text FROM word").Scan(&text); err != nil {
			t.Fatal(err)
		}
		return text
	}
	for cut := 0; ; cut++ {
		links := cut >= 5 // the first step as on a file system that cannot swap two names
		dir := t.TempDir()
		path, by, aside := filepath.Join(dir, "a.store"), filepath.Join(dir, "a.store"+RescueSuffix), filepath.Join(dir, "a.store.aside")
		for name, text := range map[string]string{path: "old", by: "new"} {
			db, err := Open(name, schema, BusyTimeout)
			if err != nil {
				t.Fatal(err)
			}
			if err := db.Update(t.Context(), func(tx *sql.Tx) error { _, err := tx.Exec("INSERT INTO word VALUES (?)", text); return err }); err != nil {
				t.Fatal(err)
			}
			db.Close()
		}
		for _, ending := range []string{"-wal", "-shm"} { // what only belongs to the old one
			if err := os.WriteFile(path+ending, []byte("of the old one"), 0o600); err != nil {
				t.Fatal(err)
			}
		}
		sum, err := sumOf(by)
		if err != nil {
			t.Fatal(err)
		}
		x := exchange{By: filepath.Base(by), Aside: filepath.Base(aside), Sum: sum}
		text, err := json.Marshal(x)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path+exchangeSuffix, text, 0o600); err != nil {
			t.Fatal(err)
		}
		steps := x.steps(path)
		if cut > 2*len(steps) {
			return
		}
		if links {
			steps[0] = func() error { return linkOld(path, aside) }
			steps = steps[:cut-len(steps)]
		} else {
			steps = steps[:cut]
		}
		for _, step := range steps {
			if err := step(); err != nil {
				t.Fatal(err)
			}
			if _, err := os.Stat(path); err != nil {
				t.Errorf("cut after %d steps: %v", cut, err)
			}
		}
		if got := word(path); got != "new" {
			t.Errorf("cut after %d steps: the store is the %s one", cut, got)
		}
		if log, err := os.ReadFile(aside + "-wal"); err != nil || string(log) != "of the old one" {
			t.Errorf("cut after %d steps: the log that is kept: %q, %v", cut, log, err)
		}
		os.Remove(aside + "-wal")
		if got := word(aside); got != "old" {
			t.Errorf("cut after %d steps: aside is the %s one", cut, got)
		}
		names, _ := filepath.Glob(path + "*")
		if len(names) != 2 {
			t.Errorf("cut after %d steps: left %v", cut, names)
		}
	}
}

// An exchange that was interrupted while its plan was written has changed nothing.
func TestExchangeThatHardlyBegan(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a.store")
	schema := Schema{Application: 77, Version: 1, PageSize: 1024, SQL: "CREATE TABLE word (text TEXT) STRICT"}
	if err := os.WriteFile(path+exchangeSuffix, []byte(`{"by":"a.st`), 0o600); err != nil {
		t.Fatal(err)
	}
	db, err := Open(path, schema, BusyTimeout)
	if err != nil {
		t.Fatal(err)
	}
	db.Close()
	if names, _ := filepath.Glob(path + "*"); len(names) != 1 {
		t.Errorf("left %v", names)
	}
}
