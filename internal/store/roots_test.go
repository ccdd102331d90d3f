package store

import (
	"bytes"
	"context"
	"database/sql"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"ohmkeep/internal/run"
)

var thorough = flag.Bool("thorough", false, "hit every page on purpose that a test can hit")

// roots returns the page on which each table and index of a store begins.
func roots(t *testing.T, path string) map[string]int {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	rows, err := db.Query("SELECT name, rootpage FROM sqlite_schema WHERE rootpage > 0")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	all := map[string]int{"sqlite_schema": 1}
	for rows.Next() {
		var name string
		var page int
		if err := rows.Scan(&name, &page); err != nil {
			t.Fatal(err)
		}
		all[name] = page
	}
	return all
}

// many fills a store with samples of a number of channels, some of them still in the tail, and
// returns each as a line.
func many(t *testing.T, path string, places, scans int) map[string]bool {
	t.Helper()
	ctx := context.Background()
	s, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	w := openWriter(t, s)
	defer w.Close()
	lines := map[string]bool{}
	var samples []Sample
	for i := range scans {
		for p := range places {
			from, to := fmt.Sprintf("west.%d+", p+1), fmt.Sprintf("west.%d-", p+1)
			h, err := w.Channel(Channel{Run: cornice.Name, Probe: "board", Quantity: run.Voltage, From: from, To: to, Unit: "mV", Meter: "hand"})
			if err != nil {
				t.Fatal(err)
			}
			at := start.UTC().Add(time.Duration(i)*time.Second + time.Duration(p)*time.Millisecond)
			text := fmt.Sprint(p*100_000 + i) // which place it is of shows
			samples = append(samples, Sample{Channel: h, Time: at, Text: text})
			lines[fmt.Sprint(from, to, at.UnixNano(), text)] = true
		}
		if i%500 == 499 || i > scans-20 { // the last in commits of their own
			if err := w.Append(ctx, samples); err != nil {
				t.Fatal(err)
			}
			samples = samples[:0]
		}
	}
	if err := s.Mark(ctx, cornice.Name, Mark{Time: start, Kind: MarkNote, Text: "re-made joint 1"}); err != nil {
		t.Fatal(err)
	}
	return lines
}

// After the loss of any page, even the one with the names, no reading is returned at another place
// or time, none twice, and each lost one is reported.
func TestLostRootsMisplaceNothing(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	var a tally
	// Without -thorough, every second of the first store, and these of the large one.
	few := []string{"sqlite_schema", "chunk_series", "tail"}
	unfolded, scans := 200, 520
	if *thorough {
		unfolded, scans = 700, 700
	}
	// In the first store nothing was folded yet.
	for _, c := range []struct{ places, scans int }{{3, unfolded}, {40, scans}} {
		path := filepath.Join(t.TempDir(), "a.store")
		lines := many(t, path, c.places, c.scans)
		at := roots(t, path)
		whole, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		const page = 1024
		for i, lost := range [][]string{{"sqlite_schema"}, {"run"}, {"run", "sqlite_autoindex_run_1"}, {"source"}, {"series"},
			{"series", "sqlite_autoindex_series_1"}, {"moments"}, {"chunk"}, {"chunk", "moments"}, {"chunk_series"}, {"chunk", "chunk_series"},
			{"chunk_moments"}, {"held"}, {"tail"}, {"hourly"}, {"boot"}, {"mark"}, {"state"}, {"sqlite_sequence"},
			{"series", "sqlite_autoindex_series_1", "sqlite_sequence"}} {
			if large := c.places > 3; !*thorough && (!large && i%2 > 0 || large && !slices.Contains(few, lost[0])) {
				continue
			}
			for _, blocks := range []int{1, 4} { // a page, or the 4 KiB in which it lies
				if !*thorough && blocks == 1 {
					continue
				}
				name := fmt.Sprint(c.places, " places: ", lost, " ", blocks)
				bad := bytes.Clone(whole)
				random := rand.New(rand.NewPCG(uint64(blocks), 61))
				for _, table := range lost {
					first := (at[table] - 1) / blocks * blocks * page
					for i := range blocks * page {
						if first+i < len(bad) {
							bad[first+i] = byte(random.Uint32())
						}
					}
				}
				a.tried++
				path := filepath.Join(t.TempDir(), "bad.store")
				if err := os.WriteFile(path, bad, 0o640); err != nil {
					t.Fatal(err)
				}
				if _, err := OpenReadOnly(path); err != nil && !Damaged(err) {
					t.Errorf("%s: opened: %v", name, err)
				}
				r, err := Rescue(ctx, path)
				if err != nil {
					t.Errorf("%s: %v", name, err)
					continue
				}
				if r.Readings < int64(len(lines)) && r.Lost+r.Orphans+int64(r.Commits) == 0 {
					a.unsaid++
				}
				if at["run"] > 0 && r.Readings+r.Lost+r.Orphans > int64(len(lines)) {
					t.Errorf("%s: %+v of %d readings", name, r.Count, len(lines))
				}
				s, err := Open(path)
				if err != nil {
					t.Errorf("%s: %v", name, err)
					continue
				}
				if found, err := s.Check(ctx); err != nil || len(found.Faults) > 0 {
					t.Errorf("%s: after the rescue: %v, %v", name, found.Faults, err)
				}
				// New channels do not take over what is left of old ones.
				w := openWriter(t, s)
				h, err := w.Channel(Channel{Run: cornice.Name, Probe: "board", Quantity: run.Voltage, From: "north.1+", To: "north.1-", Unit: "mV", Meter: "hand"})
				if err == nil {
					err = w.Append(ctx, []Sample{{Channel: h, Time: start, Text: "12"}})
				}
				if err == nil {
					err = w.Fold(ctx)
				}
				if err != nil {
					t.Errorf("%s: writing on: %v", name, err)
				}
				w.Close()
				seen := map[string]bool{}
				for x, err := range s.Samples(ctx, Selection{Run: cornice.Name}) {
					if err != nil {
						t.Errorf("%s: %v", name, err)
						break
					}
					line := fmt.Sprint(x.From, x.To, x.Time.UnixNano(), x.Text)
					if x.From == "north.1+" {
						continue
					}
					if !lines[line] {
						a.misplaced++
					}
					if seen[line] {
						a.doubled++
					}
					seen[line] = true
				}
				a.lost += max(0, int(r.Readings)-len(seen))
				if int64(len(seen)) != r.Readings {
					t.Errorf("%s: %d readings, %d are said to be kept", name, len(seen), r.Readings)
				}
				if few := len(lines) - len(seen); few > len(lines)/3 {
					t.Errorf("%s: %+v of %d", name, r.Count, len(lines))
				}
				if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o640 {
					t.Errorf("%s: mode %v, %v", name, info.Mode(), err)
				}
				s.Close()
				left, _ := filepath.Glob(path + "*")
				want := []string{path, path + "-shm", path + "-wal", r.Aside} // a writer keeps its log
				if !slices.Equal(left, want) {
					t.Errorf("%s: left %v", name, left)
				}
			}
		}
	}
	a.print(t, "every table's pages damaged on purpose")
}
