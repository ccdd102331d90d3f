package storage

import (
	"fmt"
	"log/slog"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/drift"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/store"
	"ohmkeep/internal/watch/analysis"
	"ohmkeep/internal/watch/recorder"
	"ohmkeep/internal/watch/storage/storagetest"
)

// opened opens the store of a watch, without a log.
func opened(t *testing.T, path string, now func() time.Time) (*Store, error) {
	return Open(t.Context(), Options{Path: path, Run: "Book shelf", RunFile: "shelf.toml", Log: slog.New(slog.DiscardHandler), Now: now})
}

// A store that is damaged again soon after it was replaced is not replaced again at once.
func TestRescuesAreApart(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "shelf.db")
	storagetest.Fill(t, path)
	now := time.Date(2026, 11, 1, 0, 0, 0, 0, time.UTC)
	spoil := func() {
		t.Helper()
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		clear(b[:512])
		if err := os.WriteFile(path, b, 0o644); err != nil {
			t.Fatal(err)
		}
		storagetest.LeaveLog(t, path)
	}
	spoil()
	s, err := opened(t, path, func() time.Time { return now })
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	spoil()
	if err := s.openOrRescue(t.Context()); !store.Damaged(err) {
		t.Errorf("at once: %v", err)
	}
	if err := s.Keep(t.Context(), recorder.Batch{}); !store.Damaged(err) {
		t.Errorf("and with a batch: %v", err)
	}
	now = now.Add(minRescueInterval)
	if err := s.Keep(t.Context(), recorder.Batch{}); err != nil {
		t.Errorf("later: %v", err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if notes := s.Notes(); len(notes) != 1 || !strings.Contains(notes[0], "kept as "+path+".damaged-") {
		t.Errorf("%q", notes)
	}
}

// The nightly analysis uses what can be read of a damaged store.
func TestNightOverDamagedStore(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "shelf.db")
	storagetest.Fill(t, path)
	storagetest.Root(t, path, "")
	bad, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	clear(bad[len(bad)/2 : len(bad)/2+1024])
	if err := os.WriteFile(path, bad, 0o644); err != nil {
		t.Fatal(err)
	}
	s, err := opened(t, path, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if _, err := s.Analyse(t.Context(), recorder.Plan{Run: &run.Run{Name: "Book shelf"}}); err != nil {
		t.Error(err)
	}
	if notes := s.Notes(); len(notes) != 1 || !strings.HasPrefix(notes[0], path+" is damaged: the store is damaged: ") {
		t.Errorf("%q", notes)
	}
	err = s.use(func(file *store.Store) error { // this store reports its damage among its readings
		for _, err := range file.Readings(t.Context(), "Book shelf", store.Filter{}) {
			if err != nil {
				return err
			}
		}
		return nil
	})
	if !store.Damaged(err) {
		t.Errorf("the damage is not among the readings: %v", err)
	}
}

// The whole store is read after the start and then once a week, however often it is analysed, since
// reading it takes long.
func TestStoreIsCheckedOnceAWeek(t *testing.T) {
	begun := time.Date(2026, 3, 1, 4, 0, 0, 0, time.UTC)
	now := begun
	s, err := opened(t, filepath.Join(t.TempDir(), "week.db"), func() time.Time { return now })
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	for day, want := range map[int]time.Time{0: begun, 6: begun, 7: begun.AddDate(0, 0, 7)} {
		s.checked, now = time.Time{}, begun
		s.check(t.Context())
		now = begun.AddDate(0, 0, day)
		s.check(t.Context())
		if !s.checked.Equal(want) {
			t.Errorf("on day %d the newest check is of %v, not %v", day, s.checked, want)
		}
	}
}

// A store that is removed while it is written to is noticed, even without a
// commit. All that was in it is written to a new file.
func TestRemovedStoreIsNoticed(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "shelf.db")
	n := storagetest.Fill(t, path)
	s, err := opened(t, path, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	begin := time.Now()
	for len(s.Notes()) == 0 && time.Since(begin) < time.Minute {
		time.Sleep(10 * time.Millisecond)
	}
	if notes := s.Notes(); len(notes) != 1 || !strings.Contains(notes[0], "was removed or renamed while it was written to") {
		t.Fatalf("%q", notes)
	}
	if d, err := s.Disk(); err != nil || !d.Damaged {
		t.Errorf("the metric: %+v, %v", d, err)
	}
	if err := s.Keep(t.Context(), recorder.Batch{}); err != nil {
		t.Errorf("after it: %v", err)
	}
	if err := s.use(func(file *store.Store) error {
		found, err := file.Check(t.Context())
		if err == nil && (found.Readings != int64(n) || len(found.Faults) > 0) {
			t.Errorf("%+v of %d readings", found, n)
		}
		marks, err := file.Marks(t.Context(), "Book shelf", time.Time{}, time.Time{})
		if last := marks[len(marks)-1]; last.Kind != store.MarkDamaged || !strings.Contains(last.Text, "was removed") {
			t.Errorf("marked as %+v", last)
		}
		return err
	}); err != nil {
		t.Error(err)
	}
}

// Thinning old readings changes no verdict, and is done once a month.
func TestThinningLeavesDrift(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "shelf.db")
	now := time.Date(2026, 8, 1, 4, 0, 0, 0, time.UTC)
	r := runtest.Parse(t, shelf)
	s, err := Open(t.Context(), Options{Path: path, Run: r.Name, RunFile: "shelf.toml", Log: slog.New(slog.DiscardHandler),
		Now: func() time.Time { return now }, Keep: 60 * 24 * time.Hour})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	fillDays(t, s, now.AddDate(0, 0, -150), 150)
	plan := recorder.Plan{Run: r}
	fold := func() (*history.History, bool) {
		t.Helper()
		var h *history.History
		var thinned bool
		if err := s.use(func(file *store.Store) (err error) {
			if thinned, err = file.WasThinned(t.Context(), r.Name); err != nil {
				return err
			}
			state, since, err := analysis.Beginning(t.Context(), file, r, now)
			if err != nil {
				return err
			}
			f := drift.Follow(r, state)
			_, err = f.Take(file.Readings(t.Context(), r.Name, store.Filter{Since: since}))
			h = state.History(r)
			return err
		}); err != nil {
			t.Fatal(err)
		}
		return h, thinned
	}
	before, thinned := fold()
	if thinned || len(before.Series) == 0 {
		t.Fatalf("thinned: %v, %d series", thinned, len(before.Series))
	}
	for range 2 { // the second time within a month does nothing
		if _, err := s.Analyse(t.Context(), plan); err != nil {
			t.Fatal(err)
		}
	}
	after, thinned := fold()
	if !thinned || !reflect.DeepEqual(after, before) {
		t.Errorf("thinned: %v; drift says\n%+v\nbefore\n%+v", thinned, after.Series, before.Series)
	}
	if err := s.use(func(file *store.Store) error {
		marks, err := file.Marks(t.Context(), r.Name, time.Time{}, time.Time{})
		if len(marks) != 1 || marks[0].Kind != store.MarkThinned {
			t.Errorf("%+v", marks)
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
}

// shelf is an invented run of one feed whose drop and current a board reads.
var shelf = runtest.Strip("Book shelf") + runtest.Reels(1, "left") + runtest.Feed("left.start", "18 AWG") + `
[[step]]
name = "dark"
[[meter]]
name = "board"
errors = "each"
[[meter.range]]
quantity = "voltage"
up_to = 6.0
resolution = 0.001
percent = 0.3
counts = 2
[[meter.range]]
quantity = "current"
up_to = 10.0
resolution = 0.001
percent = 0.3
counts = 2
`

// fillDays stores readings of the feed, one every ten minutes: 105 mΩ, with another current each
// time. They are invented.
func fillDays(t *testing.T, s *Store, begin time.Time, days int) {
	t.Helper()
	random := rand.New(rand.NewPCG(5, 6))
	if err := s.use(func(file *store.Store) error {
		var handles []store.Handle
		for _, c := range []store.Channel{
			{Quantity: run.Current, From: "near", Unit: "A"},
			{Quantity: run.Voltage, From: "A+", To: "A-", Unit: "V"},
			{Quantity: run.Voltage, From: "left.start+", To: "left.start-", Unit: "V"},
		} {
			c.Run, c.Probe, c.Meter = "Book shelf", "cabinet", "board"
			h, err := s.writer.Channel(c)
			if err != nil {
				return err
			}
			handles = append(handles, h)
		}
		for day := range days {
			var samples []store.Sample
			for i := range 144 {
				at := begin.AddDate(0, 0, day).Add(time.Duration(i) * 10 * time.Minute)
				amps := 0.5 + random.Float64()
				for j, value := range []float64{amps, 5.1, 5.1 - 0.105*amps} {
					samples = append(samples, store.Sample{Channel: handles[j], Time: at, Text: fmt.Sprintf("%.4f", value)})
				}
			}
			if err := s.writer.Append(t.Context(), samples); err != nil {
				return err
			}
		}
		return s.writer.Fold(t.Context())
	}); err != nil {
		t.Fatal(err)
	}
}
