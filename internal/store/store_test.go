package store

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"ohmkeep/internal/reading"
)

// kept is a file of readings in the order of time with unusual forms that must be kept: numbers,
// offsets of time zones, fractions of a second, equal moments.
const kept = `time,step,quantity,from,to,value,unit,meter
1970-01-01T00:00:00Z,,temperature,west,,-0,degC,hand
2026-03-01T19:30:00+01:00,white 5 %,voltage,west.start+,west.start-,+4.8120E+0,V,hand
2026-03-01T18:30:00Z,dark,voltage,A+,A-,005.100,V,hand
2026-03-01T15:00:00-03:30,,current,near,,.5,µA,hand
2026-03-01T19:30:00.000000001+01:00,,current,near,,1e3,mA,hand
2262-04-11T23:47:16.854775807Z,white 5 %,voltage,west.7+,A-,-12.5,mV,hand
`

func TestExportImportExportIsIdentical(t *testing.T) {
	first, _ := temporary(t)
	readings := parse(t, kept)
	add(t, first, "kept.csv", readings)
	if got := export(t, first); got != kept {
		t.Errorf("got\n%swant\n%s", got, kept)
	}
	second, _ := temporary(t)
	add(t, second, "export.csv", parse(t, export(t, first)))
	if got := export(t, second); got != kept {
		t.Errorf("second export\n%swant\n%s", got, kept)
	}
	for i, x := range all(t, first, Filter{}) {
		if x.Value != readings[i].Value {
			t.Errorf("value %v, want %v", x.Value, readings[i].Value)
		}
	}
}

func TestReadingsComeInTheOrderOfTime(t *testing.T) {
	s, _ := temporary(t)
	shuffled := scans(0, 64)
	slices.Reverse(shuffled)
	add(t, s, "a", shuffled)
	if got := all(t, s, Filter{}); !slices.IsSortedFunc(got, func(a, b reading.Reading) int { return a.Time.Compare(b.Time) }) {
		t.Error("not in the order of time")
	}
}

func TestImportTwiceStoresOnce(t *testing.T) {
	s, path := temporary(t)
	readings := scans(0, 100)
	if added, duplicates := add(t, s, "a.csv", append(readings, readings[0])); added != 100 || duplicates != 1 {
		t.Errorf("first: %d added, %d duplicates", added, duplicates)
	}
	s.Close()
	s, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if added, duplicates := add(t, s, "copy.csv", scans(0, 160)); added != 60 || duplicates != 100 {
		t.Errorf("again: %d added, %d duplicates", added, duplicates)
	}
	other := scans(0, 1)
	other[0].Text += "0" // the same value, but not the same reading
	if added, _ := add(t, s, "a.csv", other); added != 1 {
		t.Errorf("another text: %d added", added)
	}
	if n := len(all(t, s, Filter{})); n != 161 {
		t.Errorf("%d readings, want 161", n)
	}
}

func TestFilter(t *testing.T) {
	s, _ := temporary(t)
	add(t, s, "kept.csv", parse(t, kept))
	at := time.Date(2026, 3, 1, 18, 30, 0, 0, time.UTC)
	for _, c := range []struct {
		name   string
		filter Filter
		want   int
	}{
		{"all", Filter{}, 6},
		{"since is included", Filter{Since: at}, 5},
		{"until is not", Filter{Until: at}, 1},
		{"one moment", Filter{Since: at, Until: at.Add(1)}, 3},
		{"step", Filter{Step: "white 5 %"}, 2},
		{"step and time", Filter{Step: "white 5 %", Since: at.Add(1)}, 1},
		{"unknown step", Filter{Step: "bright"}, 0},
		{"before all time", Filter{Since: time.Date(1, 1, 1, 0, 0, 1, 0, time.UTC), Until: time.Date(1900, 1, 1, 0, 0, 0, 0, time.UTC)}, 0},
		{"around all time", Filter{Since: time.Date(1900, 1, 1, 0, 0, 0, 0, time.UTC), Until: time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC)}, 6},
	} {
		if got := all(t, s, c.filter); len(got) != c.want {
			t.Errorf("%s: %d readings, want %d", c.name, len(got), c.want)
		}
	}
	for x, err := range s.Readings(context.Background(), "another run", Filter{}) {
		t.Errorf("of a run without readings: %v, %v", x, err)
	}
	for range s.Readings(context.Background(), cornice.Name, Filter{}) {
		break // a loop may end early
	}
}

func TestRuns(t *testing.T) {
	s, _ := temporary(t)
	ctx := context.Background()
	if runs, err := s.Runs(ctx); err != nil || len(runs) != 0 {
		t.Errorf("a new store: %v, %v", runs, err)
	}
	add(t, s, "probe board", scans(0, 32))
	add(t, s, "a.csv", scans(10, 32))
	if _, _, err := s.Append(ctx, "Attic", "b.csv", scans(5, 16)); err != nil {
		t.Fatal(err)
	}
	runs, err := s.Runs(ctx)
	at := func(second int) time.Time { return start.Add(time.Duration(second) * time.Second).UTC() }
	want := []Run{
		{"Attic", 16, at(5), at(5), []string{"b.csv"}},
		{cornice.Name, 64, at(0), at(11), []string{"probe board", "a.csv"}},
	}
	if err != nil || fmt.Sprint(runs) != fmt.Sprint(want) {
		t.Errorf("got  %v, %v\nwant %v", runs, err, want)
	}
	// A reading is no duplicate of another run's.
	if added, duplicates, _ := s.Append(ctx, "Attic", "c.csv", scans(0, 16)); added != 16 || duplicates != 0 {
		t.Errorf("%d added, %d duplicates", added, duplicates)
	}
}

func TestUnsoundReadingsStoreNothing(t *testing.T) {
	s, _ := temporary(t)
	for name, spoil := range map[string]func(*reading.Reading){
		"text": func(x *reading.Reading) { x.Text = "4,8" },
		"unit": func(x *reading.Reading) { x.Unit = "A" },
		"time": func(x *reading.Reading) { x.Time = time.Time{} },
	} {
		readings := scans(0, 10)
		spoil(&readings[7])
		_, _, err := s.Append(context.Background(), cornice.Name, "a", readings)
		if err == nil || !strings.Contains(err.Error(), "reading 8 of 10: "+map[string]string{"text": "value"}[name]) {
			t.Errorf("%s: %v", name, err)
		}
	}
	ended, cancel := context.WithCancel(context.Background())
	cancel()
	if _, _, err := s.Append(ended, cornice.Name, "a", scans(0, 10)); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
	if n := len(all(t, s, Filter{})); n != 0 {
		t.Errorf("%d readings are stored", n)
	}
}

func TestCancelledReadingsEndWithAnError(t *testing.T) {
	s, _ := temporary(t)
	add(t, s, "a", scans(0, 1000))
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	var last error
	n := 0
	for _, err := range s.Readings(ctx, cornice.Name, Filter{}) {
		if n++; n == 10 {
			cancel()
		}
		last = err
	}
	if !errors.Is(last, context.Canceled) || n >= 1000 {
		t.Errorf("%d readings, then %v", n, last)
	}
}

func TestCancelledAppendStoresNothing(t *testing.T) {
	s, _ := temporary(t)
	readings := scans(0, 50_000)
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Millisecond)
	defer cancel()
	if _, _, err := s.Append(ctx, cornice.Name, "a", readings); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("got %v", err)
	}
	if n := len(all(t, s, Filter{})); n != 0 {
		t.Errorf("%d readings are stored", n)
	}
	add(t, s, "a", readings[:16])
}

// Readers see whole transactions, in order, while a writer commits.
func TestReadersBesideAWriter(t *testing.T) {
	t.Parallel()
	s, path := temporary(t)
	other, err := OpenReadOnly(path) // as another program would
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	const batch, batches = 160, 15
	done := make(chan struct{})
	var readers sync.WaitGroup
	for i := range 4 {
		from := []*Store{s, other}[i%2]
		readers.Go(func() {
			for last := false; !last; {
				select {
				case <-done:
					last = true
				default:
				}
				n, before := 0, int64(math.MinInt64)
				for x, err := range from.Readings(context.Background(), cornice.Name, Filter{}) {
					if err != nil {
						t.Error(err)
						return
					}
					if x.Time.UnixNano() < before {
						t.Error("out of order")
					}
					n, before = n+1, x.Time.UnixNano()
				}
				if n%batch != 0 || last && n != batch*batches {
					t.Errorf("%d readings were seen", n)
				}
			}
		})
	}
	for i := range batches {
		add(t, s, "probe", scans(i*batch/16, batch))
	}
	close(done)
	readers.Wait()
}

func BenchmarkAppend(b *testing.B) {
	// 16: one scan a commit, like the daemon; 10,000: an import.
	for _, n := range []int{16, 160, 10_000} {
		b.Run(fmt.Sprintf("batch=%d", n), func(b *testing.B) {
			s, _ := temporary(b)
			ctx, cancel := context.WithCancel(context.Background())
			defer cancel()
			second := 0
			for b.Loop() {
				added, _, err := s.Append(ctx, cornice.Name, "probe", scans(second, n))
				if err != nil || added != n {
					b.Fatal(added, err)
				}
				second += n / 16
			}
			b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds(), "readings/s")
		})
	}
}

func BenchmarkReadings(b *testing.B) {
	const n = 16 * 3600
	s, _ := temporary(b)
	add(b, s, "probe", scans(0, n))
	for b.Loop() {
		got := 0
		for _, err := range s.Readings(context.Background(), cornice.Name, Filter{}) {
			if err != nil {
				b.Fatal(err)
			}
			got++
		}
		if got != n {
			b.Fatal(got)
		}
	}
	b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds(), "readings/s")
}

// The newest marks come first, of one kind or without one, and none that was withdrawn.
func TestNewestMarks(t *testing.T) {
	s, _ := temporary(t)
	at := time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC)
	for i, kind := range []string{MarkNote, "step", MarkLost, "step", MarkNote} {
		if err := s.Mark(t.Context(), "Shelf", Mark{Time: at.Add(time.Duration(i) * time.Minute), Kind: kind, Text: fmt.Sprint(i)}); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := s.WithdrawMark(t.Context(), "Shelf", MarkNote, "4", time.Time{}, at); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		kind, without string
		most          int
		want          string
	}{{"", "", 9, "3210"}, {"", "step", 9, "20"}, {MarkNote, "", 9, "0"}, {"", "", 2, "32"}} {
		marks, err := s.NewestMarks(t.Context(), "Shelf", c.kind, c.without, c.most)
		got := ""
		for _, m := range marks {
			got += m.Text
		}
		if err != nil || got != c.want {
			t.Errorf("%+v: %s, %v", c, got, err)
		}
	}
	if marks, err := s.NewestMarks(t.Context(), "unknown", "", "", 9); err != nil || len(marks) != 0 {
		t.Errorf("an unknown run: %v, %v", marks, err)
	}
}
