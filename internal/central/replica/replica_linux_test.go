package replica

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"path/filepath"
	"reflect"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"ohmkeep/internal/central/archive"
	"ohmkeep/internal/central/centraltest"
	"ohmkeep/internal/central/pool"
	"ohmkeep/internal/central/postgres"
	"ohmkeep/internal/central/ship"
	"ohmkeep/internal/fault"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runfile"
	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/simulate/months"
	"ohmkeep/internal/simulate/plant"
	"ohmkeep/internal/store"
)

var every = flag.Duration("every", 30*time.Minute, "time between the readings of the run whose analysis is measured")

// world is a run of an invented site with its store, which is shipped to a central database.
type world struct {
	*testing.T
	run    *run.Run
	store  *store.Store
	url    string
	server *centraltest.Server
	pool   *pool.Pool
	now    atomic.Int64 // ns since 1970
	all    []reading.Reading
}

const days = 40

// begin is when the readings begin, so that they end today: the database has a clock of its own.
var begin = time.Now().UTC().Truncate(24*time.Hour).AddDate(0, 0, -days)

func newWorld(t *testing.T, every time.Duration) *world {
	w := &world{T: t, server: centraltest.Start(t)}
	w.url = w.server.Database("ohmkeep")
	w.run = runtest.Parse(t, runtest.Gallery)
	w.run.Site = "Hall"
	story := months.Scenario{Begin: begin, Days: days, Every: every, Check: "check", CheckAt: 3 * time.Hour, Currents: true, TemperatureRead: true, DayCycle: 6, Season: 12,
		Change: func(day float64, p *plant.Plant, _ *rand.Rand) {
			if day > 15 && day < 30 {
				p.Joints[0].Plus += 0.030
			}
		}}
	for x, err := range months.Readings(w.run, story, 3) {
		w.check(err)
		w.all = append(w.all, x)
	}
	s, err := store.Open(filepath.Join(t.TempDir(), "g.db"))
	w.check(err)
	t.Cleanup(func() { s.Close() })
	w.store = s
	w.pool = pool.New(func(ctx context.Context) (*postgres.DB, error) {
		return postgres.Connect(ctx, w.url, postgres.Options{})
	}, 4)
	t.Cleanup(w.pool.Close)
	w.now.Store(time.Now().UnixNano())
	return w
}

func (w *world) check(err error) {
	w.Helper()
	if err != nil {
		w.Fatal(err)
	}
}

// ship stores readings from a day to another and sends all that is new.
func (w *world) ship(from, to int) {
	w.Helper()
	var some []reading.Reading
	for _, x := range w.all {
		if day := int(x.Time.Sub(begin).Hours() / 24); day >= from && day < to {
			some = append(some, x)
		}
	}
	if len(some) > 0 {
		_, _, err := w.store.Append(w.Context(), w.run.Name, "board", some)
		w.check(err)
	}
	sink := archive.NewSink(w.url, postgres.Options{}, w.run)
	defer sink.Close()
	_, _, err := ship.Once(w.Context(), w.store, w.run.Name, sink, nil)
	w.check(err)
	w.check(sink.Describe(w.Context(), ship.Description{File: runtest.Gallery, Taken: time.Unix(0, w.now.Load())}))
}

// follow begins to follow the run.
func (w *world) follow() *Run {
	w.Helper()
	f := New(Config{Use: w.pool.Use, Log: slog.New(slog.DiscardHandler), Now: func() time.Time { return time.Unix(0, w.now.Load()).UTC() },
		Load: func(text string) (*run.Run, error) { return runfile.Parse("gallery.toml", []byte(text)) }})
	r, err := f.Follow(w.Context(), 1, w.run.Name)
	w.check(err)
	w.Cleanup(r.Close)
	<-r.Ready()
	return r
}

// until waits for something to come true.
func (w *world) until(what string, true func() bool) {
	w.Helper()
	for begun := time.Now(); !true(); time.Sleep(5 * time.Millisecond) {
		if time.Since(begun) > time.Minute {
			w.Fatalf("never: %s", what)
		}
	}
}

// What is analysed while readings and notes go on arriving is what an analysis of all of them
// finds, to the last digit; so it is after readings that had arrived were withdrawn.
func TestFollow(t *testing.T) {
	w := newWorld(t, 6*time.Hour)
	w.ship(0, 20)
	r := w.follow()
	if h := r.History(); h == nil || len(h.Series) < 3 || r.Site() != "Hall" || r.Arrival().Silent {
		t.Fatalf("%+v, %+v", h, r.Arrival())
	}
	same := func(when string) {
		t.Helper()
		fresh := w.follow()
		w.until("a new analysis "+when, func() bool { return reflect.DeepEqual(fresh.Arrival(), r.Arrival()) })
		a, b := *r.History(), *fresh.History()
		a.Run, b.Run = nil, nil                                   // read twice
		got, want := fmt.Sprintf("%+v", a), fmt.Sprintf("%+v", b) // with every digit, and NaN like NaN
		for i := range min(len(got), len(want)) {
			if got[i] != want[i] {
				t.Fatalf("%s: %.100s\nof all that has arrived: %.100s", when, got[max(0, i-50):], want[max(0, i-50):])
			}
		}
		if len(got) != len(want) {
			t.Errorf("%s: %d and %d characters", when, len(got), len(want))
		}
	}
	before := r.History()
	w.ship(20, days)
	w.now.Add(int64(24 * time.Hour)) // an analysis is due
	r.AnalyseSoon()
	w.until("another history", func() bool { return r.History() != before })
	same("after more readings")
	w.now.Add(int64(3 * time.Hour)) // 27 hours after its watch was heard of, but for this test's own time
	if a := r.Arrival(); !a.Silent || a.Until.Before(begin.AddDate(0, 0, days-1)) {
		t.Errorf("after a day: %+v", a)
	}
	w.check(w.store.Mark(t.Context(), w.run.Name, store.Mark{Time: begin.AddDate(0, 0, 30), Kind: store.MarkNote, Text: "re-made joint 1"}))
	w.ship(0, 0)
	before = r.History()
	r.AnalyseSoon()
	w.until("another history", func() bool { return r.History() != before })
	marks := 0
	for _, x := range r.History().Series {
		marks += len(x.Marks)
	}
	if marks == 0 {
		t.Error("the note is not in the history")
	}
	same("after a late note")
	var wrong []reading.Reading
	for x, err := range w.store.Readings(t.Context(), w.run.Name, store.Filter{Since: begin.AddDate(0, 0, 10), Until: begin.AddDate(0, 0, 12)}) {
		w.check(err)
		wrong = append(wrong, x)
	}
	n, _, err := w.store.Withdraw(t.Context(), w.run.Name, wrong, "a test", time.Unix(0, w.now.Load()))
	if w.check(err); n < 10 {
		t.Fatalf("only %d readings are withdrawn", n)
	}
	w.ship(0, 0)
	before = r.History()
	r.AnalyseSoon()
	w.until("another history", func() bool { return r.History() != before })
	same("after some were withdrawn")
}

// A run that does not exist, and a run file that cannot be read here, are faults; a database that is
// gone is said, and found again.
func TestNotFollowed(t *testing.T) {
	w := newWorld(t, 6*time.Hour)
	w.ship(0, 4)
	f := New(Config{Use: w.pool.Use, Log: slog.New(slog.DiscardHandler), Now: time.Now, Load: func(string) (*run.Run, error) { return nil, errors.New("no profile is named x") }})
	for _, c := range []struct {
		site       int64
		name, want string
	}{{1, "nothing", `site "Hall" has no run "nothing"`}, {9, w.run.Name, "no such site"}, {1, w.run.Name, "cannot be read here: no profile is named x"}} {
		_, err := f.Follow(t.Context(), c.site, c.name)
		if its, ok := errors.AsType[fault.Fault](err); !ok || !strings.Contains(its.Text, c.want) {
			t.Errorf("%v, want %s", err, c.want)
		}
	}
	r := w.follow()
	w.server.Kill()
	r.AnalyseSoon()
	w.until("the database is gone", func() bool { return strings.Contains(r.Arrival().Fault, "cannot be read now") })
	if r.History() == nil {
		t.Error("what was known before is forgotten")
	}
	w.server.Launch()
	r.AnalyseSoon()
	w.until("it is back", func() bool { return r.Arrival().Fault == "" })
	first, last, err := r.Span(t.Context(), "")
	if err != nil || first.Before(begin) || last.After(begin.AddDate(0, 0, 5)) || !last.After(first) {
		t.Errorf("%v to %v, %v", first, last, err)
	}
}

// TestCostOfAnalysis measures what the first page of a run costs, a later look at it, and the picture
// of a sensor over everything.
func TestCostOfAnalysis(t *testing.T) {
	w := newWorld(t, *every)
	w.ship(0, days-1)
	measured := func(what string, do func()) {
		begun, before := time.Now(), w.server.Processor()+own(t)
		do()
		t.Logf("%s: %v, %v of processor time", what, time.Since(begun).Round(time.Millisecond), (w.server.Processor() + own(t) - before).Round(time.Millisecond))
	}
	var r *Run
	measured(fmt.Sprintf("the first analysis of %d days with %d readings", days-1, len(w.all)), func() { r = w.follow() })
	w.ship(days-1, days)
	w.now.Add(int64(time.Hour))
	measured("the analysis of one more day", func() {
		before := r.History()
		r.AnalyseSoon()
		w.until("another history", func() bool { return r.History() != before })
	})
	n := 0
	measured("a sensor over everything", func() {
		sel := store.Selection{From: "west.start+", To: "west.start-", Since: begin, Until: begin.AddDate(0, 0, days)}
		buckets, err := r.MinMeanMax(t.Context(), sel, 240)
		w.check(err)
		for _, b := range buckets {
			n += b.N
		}
	})
	if n < days {
		t.Errorf("%d readings of the sensor", n)
	}
}

// own is the processor time of this program so far.
func own(t *testing.T) time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		t.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
