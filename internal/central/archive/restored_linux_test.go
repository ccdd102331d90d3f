package archive

import (
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"ohmkeep/internal/central/centraltest"
	"ohmkeep/internal/central/postgres"
	"ohmkeep/internal/central/ship"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/store"
)

// once sends everything over a connection of its own, a few readings at a time.
func once(t *testing.T, s *store.Store, url string, r *run.Run) error {
	t.Helper()
	to := NewSink(url, postgres.Options{}, r)
	to.batch = 40
	_, _, err := ship.Once(t.Context(), s, r.Name, to, nil)
	check(t, to.Close())
	return err
}

// arrived returns the readings that the central database has of a run.
func arrived(t *testing.T, url string, r *run.Run) []reading.Reading {
	t.Helper()
	all, err := poll(t.Context(), url, r)
	check(t, err)
	return all
}

// A database that is restored from an old backup gets again what it has lost, wherever it lies: earlier
// readings that were imported later, changes of readings that it has, notes.
func TestRestoredDatabase(t *testing.T) {
	server := centraltest.Start(t)
	url := server.Database("ohmkeep")
	r := shelf(t, "North hall")
	s := filled(t, r, 100)
	check(t, once(t, s, url, r))
	sql := func(statements ...string) {
		t.Helper()
		for _, one := range statements {
			if out, err := server.SQL("owner", "postgres", one); err != nil {
				t.Fatal(out)
			}
		}
	}
	sql("CREATE DATABASE backup TEMPLATE ohmkeep")
	early := time.Date(2026, 1, 31, 18, 0, 0, 0, time.UTC)
	check(t, appendOne(t, s, r, early, "5.001"))
	_, _, err := s.Withdraw(t.Context(), r.Name, readings(t, s, r)[30:50], "misread", time.Now())
	check(t, err)
	check(t, s.Mark(t.Context(), r.Name, store.Mark{Time: early, Kind: store.MarkNote, Text: "re-made"}))
	check(t, once(t, s, url, r))
	same(t, s, url, r)
	sql("DROP DATABASE ohmkeep", "ALTER DATABASE backup RENAME TO ohmkeep")
	if got, want := len(arrived(t, url, r)), len(readings(t, s, r)); got == want {
		t.Fatal("the backup lacks nothing")
	}
	check(t, once(t, s, url, r))
	same(t, s, url, r)
}

// A store that is restored from an old backup goes on where it was. Readings that only the central
// database has stay there, and new ones count although it has changes that the store does not know,
// one of them half arrived.
func TestRestoredStore(t *testing.T) {
	for _, half := range []bool{false, true} {
		t.Run(fmt.Sprintf("half %v", half), func(t *testing.T) {
			server := centraltest.Start(t)
			url := server.Database("ohmkeep")
			r := shelf(t, "North hall")
			path, backup := filepath.Join(t.TempDir(), "shelf.db"), filepath.Join(t.TempDir(), "backup.db")
			s := fill(t, path, r, 100)
			check(t, once(t, s, url, r))
			check(t, s.Close())
			content, err := os.ReadFile(path)
			check(t, err)
			check(t, os.WriteFile(backup, content, 0o600))

			s = open(t, path)
			late := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
			check(t, appendOne(t, s, r, late, "4.001"))
			check(t, once(t, s, url, r))
			old := readings(t, s, r)
			_, err = s.CorrectAll(t.Context(), store.Selection{Run: r.Name, Quantity: new(run.Current)}, "0.0025")
			check(t, err)
			if half {
				to := NewSink(url, postgres.Options{}, r)
				to.batch = 40
				identity, confirmed, err := s.Sender(t.Context(), r.Name, to.Name())
				check(t, err)
				have, err := to.Have(t.Context(), identity, confirmed)
				check(t, err)
				d, err := s.Undelivered(t.Context(), r.Name, to.Name(), have, to.Batch())
				check(t, err)
				check(t, to.Send(t.Context(), d)) // and the machine is lost
				check(t, to.Close())
			} else {
				check(t, once(t, s, url, r))
				old = readings(t, s, r)
			}
			if got := arrived(t, url, r); !reflect.DeepEqual(got, old) {
				t.Fatalf("%d readings before, want %d", len(got), len(old))
			}

			s = open(t, backup)
			newest := late.AddDate(0, 0, 1)
			check(t, appendOne(t, s, r, newest, "4.002"))
			check(t, once(t, s, url, r))
			check(t, once(t, s, url, r))
			got := arrived(t, url, r)
			if n := len(old); len(got) != n+1 || !reflect.DeepEqual(got[:n], old) || got[n].Text != "4.002" {
				t.Errorf("%d readings, want the %d before and a new one", len(got), n)
			}
		})
	}
}
