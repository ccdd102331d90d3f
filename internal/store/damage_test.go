package store

import (
	"bytes"
	"context"
	"flag"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/run"
)

var damages = flag.Int("damages", 1, "how often a store is damaged")

// A file that is damaged in the middle returns what can be read, reports the rest, and takes new
// samples. A new store can be made of what is left.
func TestDamagedInTheMiddle(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	s, path := temporary(t)
	w := openWriter(t, s)
	fill(t, w, 3000, 1500)
	const written = 3000 * 16
	w.Close()
	s.Close()
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	type one struct {
		from, text string
		at         int64
	}
	stored := map[one]int{} // in which round it was seen last
	if s, err = OpenReadOnly(path); err != nil {
		t.Fatal(err)
	}
	for _, x := range all(t, s, Filter{}) {
		stored[one{x.From, x.Text, x.Time.UnixNano()}] = -1
	}
	s.Close()
	var a tally
	random := rand.New(rand.NewPCG(21, 22))
	lostSome := 0
	for round := range *damages {
		dir := t.TempDir()
		path := filepath.Join(dir, "a.store")
		damaged := bytes.Clone(whole)
		at := 4096 + random.IntN(len(damaged)-3*4096)
		for i := range 1024 * (1 + round%3) { // what lies in a bad block is zeros or garbage
			damaged[at+i] = byte(random.Uint32()) * byte(round%2)
		}
		if err := os.WriteFile(path, damaged, 0o644); err != nil {
			t.Fatal(err)
		}
		s, err := OpenReadOnly(path)
		if err != nil && !Damaged(err) {
			t.Fatalf("round %d: %v", round, err)
		}
		n, told := 0, ""
		var found Found
		if err == nil {
			for _, err := range s.Readings(ctx, cornice.Name, Filter{}) {
				if err != nil {
					told = err.Error()
					continue
				}
				n++
			}
			if found, err = s.Check(ctx); err != nil && !Damaged(err) {
				t.Errorf("round %d: check: %v", round, err)
			}
			s.Close()
		} else {
			told = err.Error() // what the tables are is written in these bytes
		}
		a.tried++
		if n < written && told == "" {
			a.unsaid++
			t.Errorf("round %d: %d of %d readings, and nothing is told", round, n, written)
		}
		if n < written {
			lostSome++
		}
		if told != "" && !strings.Contains(told, "the store is damaged") {
			t.Errorf("round %d: %s", round, told)
		}
		if told != "" && err == nil && len(found.Faults) == 0 {
			t.Errorf("round %d: check found nothing, but reading tells: %s", round, told)
		}

		rescued, err := Rescue(ctx, path)
		if err != nil {
			t.Fatalf("round %d: rescue: %v", round, err)
		}
		if told != "" && found.Count != (Count{}) && found.Count != rescued.Count {
			t.Errorf("round %d: the check counts %+v, the rescue %+v", round, found.Count, rescued.Count)
		}
		if sum := rescued.Readings + rescued.Lost + rescued.Orphans; sum != written {
			a.lost += written - int(sum)
			t.Errorf("round %d: %+v, %d readings in all, were written: %d", round, rescued.Count, sum, written)
		}
		if kept, err := os.ReadFile(rescued.Aside); err != nil || !bytes.Equal(kept, damaged) {
			t.Errorf("round %d: the damaged file is not kept: %v", round, err)
		}
		if s, err = Open(path); err != nil {
			t.Fatal(err)
		}
		kept := all(t, s, Filter{})
		for _, x := range kept {
			x := one{x.From, x.Text, x.Time.UnixNano()}
			switch seen, known := stored[x]; {
			case !known:
				a.misplaced++
			case seen == round:
				a.doubled++
			}
			stored[x] = round
		}
		if left := len(kept); left < n || left != int(rescued.Readings) {
			t.Errorf("round %d: %d readings are left of %d that could be read; %d are said to be kept", round, left, n, rescued.Readings)
		}
		if found, err := s.Check(ctx); err != nil || len(found.Faults) > 0 {
			t.Errorf("round %d: after the rescue: %v, %v", round, found.Faults, err)
		}
		w := openWriter(t, s)
		fill(t, w, 10, 1)
		w.Close()
		s.Close()
	}
	a.print(t, "a block damaged")
	if lostSome < *damages/4 {
		t.Errorf("only %d of %d damages lost a reading", lostSome, *damages)
	}
}

// Thinning replaces old readings by the exact minimum, mean and maximum of each hour. Readings in
// known steps stay.
func TestThinnedReadingsLeaveTheirHours(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	s, _ := temporary(t)
	w := openWriter(t, s)
	const scans = 20_000
	fill(t, w, scans, 4000)
	begin := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	stepped, err := w.Channel(Channel{Run: cornice.Name, Probe: "board", Step: "dark", Quantity: run.Voltage, Unit: "V", Meter: "board", From: "west.1+", To: "west.1-"})
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Append(ctx, []Sample{{Channel: stepped, Time: begin, Text: "5.02"}}); err != nil {
		t.Fatal(err)
	}
	if err := w.Fold(ctx); err != nil {
		t.Fatal(err)
	}
	imported := parse(t, kept)
	add(t, s, "kept.csv", imported)
	voltage := run.Voltage
	sel := Selection{Run: cornice.Name, Quantity: &voltage, From: "west.1+", To: "west.1-", Since: begin, Until: begin.Add(6 * time.Hour)}
	before, err := s.MinMeanMax(ctx, sel, 6)
	if err != nil {
		t.Fatal(err)
	}
	now := begin.Add(1000 * time.Hour)
	gone, err := s.Thin(ctx, cornice.Name, begin.Add(3*time.Hour), now)
	if err != nil || gone.Readings < 2*3600*16 || gone.Readings > 3*3600*16+16 || gone.First.Before(begin.Add(-time.Second)) || gone.Last.After(begin.Add(3*time.Hour)) {
		t.Errorf("%+v went: %v", gone, err)
	}
	after, err := s.MinMeanMax(ctx, sel, 6)
	if err != nil {
		t.Fatal(err)
	}
	for i := range after {
		a, b := after[i], before[i]
		if a.Hourly != (i < 3) || a.N != b.N || a.Min != b.Min || a.Max != b.Max || a.Mean < b.Mean-1e-12 || a.Mean > b.Mean+1e-12 {
			t.Errorf("hour %d: %+v, before %+v", i, a, b)
		}
	}
	left, evidence := all(t, s, Filter{}), 0
	for _, x := range left {
		if x.Step != "" || x.Meter == "hand" {
			evidence++
		}
	}
	if len(left) != scans*16+1+len(imported)-gone.Readings || evidence != len(imported)+1 {
		t.Errorf("%d readings are left, %d of them evidence", len(left), evidence)
	}
	marks, err := s.Marks(ctx, cornice.Name, now, time.Time{})
	if err != nil || len(marks) != 1 || marks[0].Kind != MarkThinned || !strings.Contains(marks[0].Text, "outside known steps, taken from ") {
		t.Errorf("%+v, %v", marks, err)
	}
	if found, err := s.Check(ctx); err != nil || len(found.Faults) > 0 {
		t.Errorf("%v, %v", found.Faults, err)
	}
	if more, err := s.Thin(ctx, cornice.Name, begin.Add(3*time.Hour), now); err != nil || more.Readings != 0 {
		t.Errorf("again: %+v, %v", more, err)
	}
}

// A series whose entry is impossible counts as damage. The others are read.
func TestSeriesThatCannotBe(t *testing.T) {
	s, path := temporary(t)
	add(t, s, "a", scans(0, 160))
	s.Close()
	for _, statement := range []string{
		"UPDATE series SET quantity = 'voltige' WHERE place_from = 'west.1+'",
		"UPDATE series SET form = '1.x', quantity = 'voltage' WHERE place_from = 'west.1+'",
	} {
		change(t, path, statement)
		s, err := OpenReadOnly(path)
		if err != nil {
			t.Fatal(err)
		}
		n, told := 0, error(nil)
		for _, err := range s.Readings(context.Background(), cornice.Name, Filter{}) {
			if told = err; err == nil {
				n++
			}
		}
		s.Close()
		if n != 150 || !Damaged(told) {
			t.Errorf("%s: %d readings, %v", statement, n, told)
		}
	}
}
