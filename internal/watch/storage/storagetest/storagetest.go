// Package storagetest makes stores for tests of damage.
package storagetest

import (
	"context"
	"database/sql"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"ohmkeep/internal/run"
	"ohmkeep/internal/store"
)

// Fill makes a store with readings of a board, in chunks and in the tail, and returns their
// number. The run is "Book shelf", the probe "cabinet". The store is filled once in a process, and
// then copied.
func Fill(t testing.TB, path string) (readings int) {
	t.Helper()
	filled.once.Do(func() {
		made := filepath.Join(t.TempDir(), "filled.db")
		filled.readings = fill(t, made)
		Root(t, made, "")
		content, err := os.ReadFile(made)
		if err != nil {
			t.Fatal(err)
		}
		filled.content = content
	})
	if filled.content == nil {
		t.Fatal("the store could not be filled in an earlier test")
	}
	if err := os.WriteFile(path, filled.content, 0o644); err != nil {
		t.Fatal(err)
	}
	return filled.readings
}

var filled struct {
	once     sync.Once
	content  []byte
	readings int
}

func fill(t testing.TB, path string) (readings int) {
	t.Helper()
	kept, err := store.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	w, err := kept.Writer(t.Context(), store.Owner{Name: "test"})
	if err != nil {
		t.Fatal(err)
	}
	var channels []store.Handle
	for _, c := range []store.Channel{
		{Run: "Book shelf", Probe: "cabinet", Quantity: run.Voltage, From: "left.start+", To: "left.start-", Unit: "V", Meter: "plain-lines"},
		{Run: "Book shelf", Probe: "cabinet", Quantity: run.Current, From: "near", Unit: "mA", Meter: "plain-lines"},
	} {
		h, err := w.Channel(c)
		if err != nil {
			t.Fatal(err)
		}
		channels = append(channels, h)
	}
	random := rand.New(rand.NewPCG(3, 4))
	at := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	const commits, scans = 1030, 20 // four folds, and a tail
	for range commits {
		var samples []store.Sample
		for range scans {
			at = at.Add(time.Second)
			samples = append(samples, store.Sample{Channel: channels[0], Time: at, Text: fmt.Sprintf("4.%03d", 500+random.IntN(400))},
				store.Sample{Channel: channels[1], Time: at, Text: fmt.Sprint(2000 + random.IntN(400))})
		}
		if err := w.Append(context.Background(), samples, store.RunMark{Run: "Book shelf",
			Mark: store.Mark{Time: at, Kind: "note", Text: "nothing"}}); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if err := kept.Close(); err != nil {
		t.Fatal(err)
	}
	return commits * scans * len(channels)
}

// Root returns the number of the root page of a table or index of a store (0 for the name ""),
// and the page size in bytes. It checkpoints the log first.
func Root(t testing.TB, path, name string) (page, size int64) {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec("PRAGMA wal_checkpoint(TRUNCATE)"); err != nil {
		t.Fatal(err)
	}
	if name != "" {
		if err := db.QueryRow("SELECT rootpage FROM sqlite_schema WHERE name = ?", name).Scan(&page); err != nil {
			t.Fatal(err)
		}
	}
	if err := db.QueryRow("PRAGMA page_size").Scan(&size); err != nil {
		t.Fatal(err)
	}
	return page, size
}

// LeaveLog writes a log without content beside a store, as a watch leaves it when its machine is
// restarted.
func LeaveLog(t testing.TB, path string) {
	t.Helper()
	_ = os.Remove(path + "-shm")
	if err := os.WriteFile(path+"-wal", []byte("\x37\x7f\x06\x82"+strings.Repeat("\x00", 4092)), 0o644); err != nil {
		t.Fatal(err)
	}
}
