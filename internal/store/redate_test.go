package store

import (
	"context"
	"fmt"
	"slices"
	"testing"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// clocked is a board for which the test knows when each reading was taken.
type clocked struct {
	t       *testing.T
	store   *Store
	writer  *Writer
	channel Handle
	booted  time.Time // of the machine's start
	n       int
	truth   []string // value and right date of each reading
}

func (b *clocked) boot(name string, at time.Time) {
	b.t.Helper()
	if b.writer != nil {
		b.writer.Close()
	} else {
		b.t.Cleanup(func() { b.writer.Close() }) // the newest by then; on Windows an open file cannot be removed
	}
	var err error
	if b.writer, err = b.store.Writer(context.Background(), Owner{Name: "a test", Boot: name, FoldAfter: 3}); err != nil {
		b.t.Fatal(err)
	}
	if b.channel, err = b.writer.Channel(Channel{Run: cornice.Name, Probe: "board", Quantity: run.Voltage, From: "west.1+", To: "west.1-", Unit: "V", Meter: "hand"}); err != nil {
		b.t.Fatal(err)
	}
	b.booted = at
}

// says stores n readings, a second apart, from a moment on. Their dates are off by a duration.
func (b *clocked) says(from time.Time, n int, off time.Duration, q reading.Quality) {
	b.t.Helper()
	for n > 0 {
		var samples []Sample
		for range min(n, 900) {
			text := fmt.Sprintf("4.%05d", b.n)
			b.truth = append(b.truth, from.Format(time.RFC3339Nano)+" "+text)
			samples = append(samples, Sample{Channel: b.channel, Time: from.Add(off), Mono: from.Sub(b.booted), Quality: q, Text: text})
			from, b.n, n = from.Add(time.Second), b.n+1, n-1
		}
		if err := b.writer.Append(context.Background(), samples); err != nil {
			b.t.Fatal(err)
		}
	}
}

// dates returns the stored date of each reading, and how many are uncertain.
func (b *clocked) dates() (dates []string, uncertain int) {
	b.t.Helper()
	for x, err := range b.store.Selected(context.Background(), Selection{Run: cornice.Name}) {
		if err != nil {
			b.t.Fatal(err)
		}
		dates = append(dates, x.Time.Format(time.RFC3339Nano)+" "+x.Text)
		if x.Quality != 0 {
			uncertain++
		}
	}
	return dates, uncertain
}

// A start is dated 2099. The next certain date marks its readings, so that the newest certain date
// is right again. Redate moves the readings of a start with a certain date to their times, in any
// chunks; RedateTo moves the others.
func TestReadingsOfAWrongDateAreMoved(t *testing.T) {
	ctx := context.Background()
	s, _ := temporary(t)
	b := &clocked{t: t, store: s}
	day := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	wrong := time.Date(2099, 1, 1, 0, 0, 0, 0, time.UTC).Sub(day)
	b.boot("one", day.Add(-time.Minute))
	b.says(day, 6000, 0, 0)
	b.boot("two", day.Add(5*time.Hour)) // its clock says 2099, and was set right later
	b.says(day.Add(5*time.Hour+time.Minute), 9000, wrong, 0)
	b.says(day.Add(8*time.Hour), 500, 0, 0)
	b.boot("three", day.Add(10*time.Hour-time.Minute)) // this one was never corrected
	b.says(day.Add(10*time.Hour), 5000, wrong, 0)
	b.boot("four", day.Add(20*time.Hour))
	b.says(day.Add(20*time.Hour), 300, 0, 0)
	if err := s.Mark(ctx, cornice.Name, Mark{Time: day.Add(5*time.Hour + wrong), Kind: MarkRestart}); err != nil {
		t.Fatal(err)
	}

	now := day.Add(21 * time.Hour)
	marked, err := s.MarkDatesUncertain(ctx, cornice.Name, now, now)
	if err != nil || marked != 14000 {
		t.Fatalf("%d marked, %v", marked, err)
	}
	if again, err := s.MarkDatesUncertain(ctx, cornice.Name, now, now); err != nil || again != 0 {
		t.Errorf("%d marked again, %v", again, err)
	}
	newest, err := s.Newest(ctx, cornice.Name)
	if err != nil || len(newest) != 1 || !newest[0].Time.Equal(day.Add(20*time.Hour+299*time.Second)) {
		t.Errorf("the newest certain date: %+v, %v", newest, err)
	}
	moved, _, err := s.Redate(ctx, cornice.Name, now)
	if err != nil || len(moved) != 2 || moved[0].Readings != 9000 || moved[0].By != -wrong || moved[1].Readings != 5000 || moved[1].By != 0 {
		t.Fatalf("%+v, %v", moved, err)
	}
	if _, uncertain := b.dates(); uncertain != 5000 {
		t.Errorf("%d dates are uncertain", uncertain)
	}
	if again, _, err := s.Redate(ctx, cornice.Name, now); err != nil || len(again) != 1 || again[0].By != 0 {
		t.Errorf("again: %+v, %v", again, err)
	}
	if _, _, err := s.RedateTo(ctx, cornice.Name, moved[1].First, time.Time{}, time.Date(1960, 1, 1, 0, 0, 0, 0, time.UTC), now); err == nil {
		t.Error("moved to 1960")
	}
	if moved, _, err = s.RedateTo(ctx, cornice.Name, moved[1].First, time.Time{}, day.Add(10*time.Hour), now); err != nil || len(moved) != 1 || moved[0].Readings != 5000 {
		t.Fatalf("%+v, %v", moved, err)
	}
	dates, uncertain := b.dates()
	slices.Sort(b.truth)
	if uncertain != 0 || !slices.Equal(dates, b.truth) {
		t.Errorf("%d readings, %d uncertain, the right dates of %d", len(dates), uncertain, len(b.truth))
	}
	for x, err := range s.Samples(ctx, Selection{Run: cornice.Name}) {
		if err != nil || x.Boot == 2 && x.Time.Sub(day.Add(5*time.Hour)) != x.SinceBoot {
			t.Fatalf("the time since boot does not fit: %+v, %v", x, err)
		}
	}
	marks, err := s.Marks(ctx, cornice.Name, time.Time{}, time.Time{})
	if err != nil || len(marks) != 4 || !marks[0].Time.Equal(day.Add(5*time.Hour)) {
		t.Errorf("%+v, %v", marks, err)
	}
	if found, err := s.Check(ctx); err != nil || len(found.Faults) > 0 || found.Readings != int64(len(b.truth)) {
		t.Errorf("%+v, %v", found, err)
	}
}

// Readings that are moved among others, and into chunks that are examined later, are moved once.
func TestRedateAmongOthers(t *testing.T) {
	s, _ := temporary(t)
	b := &clocked{t: t, store: s}
	day := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	b.boot("one", day.Add(-time.Minute))
	off := 90 * time.Minute
	b.says(day, 12_000, off, reading.ClockUncertain)
	b.says(day.Add(12_000*time.Second), 12_000, 0, 0)
	if _, _, err := s.Redate(context.Background(), cornice.Name, day); err != nil {
		t.Fatal(err)
	}
	if dates, uncertain := b.dates(); uncertain != 0 || !slices.Equal(dates, b.truth) {
		t.Errorf("%d readings, %d uncertain, the right dates of %d", len(dates), uncertain, len(b.truth))
	}
}
