package store

import (
	"context"
	"database/sql"
	"fmt"
	"testing"

	"ohmkeep/internal/store/internal/sqlitefile"
	"ohmkeep/internal/store/internal/tables"
)

// A store of the first schema, one row a reading, is brought up to date with
// nothing changed, and is kept as it was in a copy.
func TestMigrationFromRows(t *testing.T) {
	path := t.TempDir() + "/old.store"
	first := tables.Schema
	first.Steps = first.Steps[:1]
	db, err := sqlitefile.Open(path, first, sqlitefile.Patience)
	if err != nil {
		t.Fatal(err)
	}
	readings := parse(t, kept)
	if err := db.Update(context.Background(), func(tx *sql.Tx) error {
		if _, err := tx.Exec("INSERT INTO run VALUES (1, ?); INSERT INTO source VALUES (1, 1, 'kept.csv')", cornice.Name); err != nil {
			return err
		}
		for i, x := range readings {
			_, zone := x.Time.Zone()
			if _, err := tx.Exec("INSERT INTO series VALUES (?, 1, ?, ?, ?, ?, ?, ?)", i+1, x.Step, x.Quantity.String(), x.From, x.To, x.Unit, x.Meter); err != nil {
				return err
			}
			if _, err := tx.Exec("INSERT INTO reading (run, at, series, text, zone, source) VALUES (1, ?, ?, ?, ?, 1)",
				x.Time.UnixNano(), i+1, x.Text, zone); err != nil {
				return err
			}
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	db.Close()
	s, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if got := export(t, s); got != kept {
		t.Errorf("got\n%swant\n%s", got, kept)
	}
	if added, duplicates := add(t, s, "kept.csv", readings); added != 0 || duplicates != len(readings) {
		t.Errorf("again: %d added, %d duplicates", added, duplicates)
	}
	runs, err := s.Runs(context.Background())
	if err != nil || len(runs) != 1 || runs[0].Readings != int64(len(readings)) || fmt.Sprint(runs[0].Sources) != "[kept.csv]" {
		t.Errorf("runs: %+v, %v", runs, err)
	}
	old, err := sqlitefile.OpenReadOnly(path+".schema1", first)
	if err != nil {
		t.Fatalf("the copy: %v", err)
	}
	defer old.Close()
	var n int
	if err := old.Read.QueryRow("SELECT count(*) FROM reading").Scan(&n); err != nil || n != len(readings) {
		t.Errorf("the copy holds %d readings: %v", n, err)
	}
}
