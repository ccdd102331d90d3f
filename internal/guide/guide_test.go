package guide

import (
	"context"
	"errors"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/assess/walk"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/simulate/plant"
	"ohmkeep/internal/store"
)

func open(t *testing.T, path string) *store.Store {
	t.Helper()
	s, err := store.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

// begin returns a session that is ready and learns until the test ends or end is called.
func begin(t *testing.T, c Config) (s *Session, end func()) {
	t.Helper()
	c.Own = len(c.Run.Meters)
	s = New(c)
	if err := s.Prepare(t.Context()); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() { defer close(done); s.Run(ctx) }()
	end = func() { stop(); <-done }
	t.Cleanup(end)
	return s, end
}

// person reads a simulated run, which shares nothing with the fit.
type person struct {
	*testing.T
	plant *plant.Plant
	meter *plant.Meter
	rng   *rand.Rand
}

func newPerson(t *testing.T, r *run.Run) *person {
	rng := rand.New(rand.NewPCG(4, 4))
	return &person{t, plant.New(r, plant.Plain, rng), plant.NewMeter(r.Meters[0], plant.Plain, rng), rng}
}

func (p *person) read(n assessment.Next) reading.Reading {
	x := reading.Reading{Time: time.Now(), Step: n.Step, Quantity: n.Quantity, From: n.From, To: n.To, Meter: p.meter.Name}
	p.meter.Read(&x, p.plant.True(n.Quantity, n.From, n.To), p.rng)
	return x
}

// one does what the walk asks next, and reports whether the walk is finished.
func (p *person) one(s *Session) (done bool) {
	p.Helper()
	s.Learned(p.Context())
	x := s.Snapshot()
	var err error
	switch x.Task.Kind {
	case walk.SetStep:
		if err = p.plant.Set(x.Walk.Run().StepIndex(x.Task.Step)); err == nil {
			err = s.Do(p.Context(), x.Walk.Number(), walk.Event{Kind: walk.Shown, Step: x.Task.Step})
		}
	case walk.Measure:
		err = s.Take(p.Context(), x.Walk.Number(), p.read(x.Task.Read))
	default:
		return true
	}
	if err != nil {
		p.Fatal(err)
	}
	return false
}

func loaded(t *testing.T) *run.Run { return runtest.Load(t, "../../testdata/runs/cornice.toml") }

// A walk is broken off in the middle and goes on where it was, in another session; the readings are in
// the store, and what was undone is not. After its end another one begins, and
// finds everything read.
func TestGoesOn(t *testing.T) {
	t.Parallel()
	r, path := loaded(t), filepath.Join(t.TempDir(), "walk.store")
	first, end := begin(t, Config{Run: r, Store: open(t, path)})
	p := newPerson(t, r)
	for range 6 {
		p.one(first)
	}
	x := first.Snapshot()
	if err := first.Do(t.Context(), x.Walk.Number(), walk.Event{Kind: walk.Undo}); err != nil {
		t.Fatal(err)
	}
	first.Learned(t.Context())
	x = first.Snapshot()
	end()
	second, end := begin(t, Config{Run: r, Store: open(t, path)})
	second.Learned(t.Context())
	y := second.Snapshot()
	if y.Walk.Number() != x.Walk.Number() || y.Walk.Step() != x.Walk.Step() || y.Task.Read.From != x.Task.Read.From || y.Task.Taken != x.Task.Taken || y.Task.Taken != 4 {
		t.Errorf("it goes on with %+v, and was at %+v", y.Task, x.Task)
	}
	stored := 0
	for _, err := range open(t, path).Readings(t.Context(), r.Name, store.Filter{}) {
		if err != nil {
			t.Fatal(err)
		}
		stored++
	}
	if stored != 4 {
		t.Errorf("%d readings are in force in the store, 4 in the walk", stored)
	}
	for !p.one(second) {
	}
	y = second.Snapshot()
	if !y.Task.Settled {
		t.Errorf("it ends with %+v", y.Task)
	}
	if err := second.Do(t.Context(), y.Walk.Number(), walk.Event{Kind: walk.End}); err != nil {
		t.Fatal(err)
	}
	end()
	third, _ := begin(t, Config{Run: r, Store: open(t, path)})
	third.Learned(t.Context())
	if z := third.Snapshot(); z.Task.Kind != walk.Finished || !z.Task.Settled || z.Task.Taken != 0 || len(z.Walk.Events()) != 0 {
		t.Errorf("after the end: %+v", z.Task)
	}
	afresh := third.Snapshot().Walk.Number()
	if err := third.Do(t.Context(), afresh, walk.Event{Kind: walk.Begin}); err != nil {
		t.Fatal(err)
	}
	if z := third.Snapshot(); z.Task.Kind != walk.SetStep || z.Walk.Number() != afresh+1 {
		t.Errorf("a walk that begins from nothing asks %+v", z.Task)
	}
}

// Two devices on one walk, in two programs: each sees what the other has done, and an event of one that has
// not seen it is refused.
func TestTwoDevices(t *testing.T) {
	t.Parallel()
	r, path := loaded(t), filepath.Join(t.TempDir(), "walk.store")
	one, _ := begin(t, Config{Run: r, Store: open(t, path)})
	two, _ := begin(t, Config{Run: r, Store: open(t, path)})
	p := newPerson(t, r)
	p.one(one)
	p.one(one)
	seen := two.Snapshot().Walk.Number()
	if err := two.Do(t.Context(), seen, walk.Event{Kind: walk.Note, Text: "late"}); !errors.Is(err, walk.ErrStale) {
		t.Fatalf("an event of a device that has not seen all: %v", err)
	}
	if a, b := one.Snapshot(), two.Snapshot(); a.Walk.Number() != b.Walk.Number() || a.Task.Taken != 1 || b.Task.Taken != 1 {
		t.Errorf("one is at %d, the other at %d", a.Walk.Number(), b.Walk.Number())
	}
	p.one(two)
	for begun := time.Now(); one.Snapshot().Walk.Number() != two.Snapshot().Walk.Number(); time.Sleep(20 * time.Millisecond) {
		if time.Since(begun) > 20*time.Second {
			t.Fatal("one never sees what the other has done")
		}
	}
	if err := one.Do(t.Context(), 0, walk.Event{Kind: walk.Undo}); !errors.Is(err, walk.ErrStale) {
		t.Errorf("an old number: %v", err)
	}
}

// Practice finds the fault that it has drawn, with a simulated meter, and stores nothing.
func TestPractise(t *testing.T) {
	t.Parallel()
	r := loaded(t)
	s, _ := begin(t, Config{Run: r, Seed: 3})
	if s.SimulatedFault() == "" || !s.Snapshot().Practise {
		t.Fatal("no fault is drawn")
	}
	for range 300 {
		s.Learned(t.Context())
		x := s.Snapshot()
		if x.Task.Kind == walk.Finished {
			break
		}
		var err error
		if x.Task.Kind == walk.SetStep {
			err = s.Do(t.Context(), x.Walk.Number(), walk.Event{Kind: walk.Shown, Step: x.Task.Step})
		} else {
			s.truth.mu.Lock() // the leads are there at once
			s.truth.place, s.truth.arrived = x.Task.Read.Step+" "+x.Task.Read.From+" "+x.Task.Read.To, time.Time{}
			s.truth.mu.Unlock()
			var sample reading.Sample
			if sample, err = s.measure(t.Context(), x.Task.Read); err == nil {
				err = s.Take(t.Context(), x.Walk.Number(), s.readingOf(sample, x.Task.Read))
			}
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	x := s.Snapshot()
	drawn, _, _ := strings.Cut(s.SimulatedFault(), " has")
	found := false
	for _, e := range x.Walk.Known().Elements {
		found = found || e.Verdict == assessment.Fail && string(e.Kind)+" "+e.Name == drawn
	}
	if !found || !x.Task.Settled {
		t.Errorf("drawn: %s; found: %+v, ends with %+v", s.SimulatedFault(), x.Walk.Known().Elements, x.Task)
	}
}

// A display counts as settled once it has been steady for a while; until then the reason is given.
func TestSettling(t *testing.T) {
	begun := time.Now()
	sample := func(after time.Duration, volts float64) reading.Sample {
		return reading.Sample{Reading: reading.Reading{Time: begun.Add(after), Value: volts}}
	}
	var d settling
	for _, c := range []struct {
		after time.Duration
		volts float64
		why   string
	}{
		{0, 0.001, "tips on bare metal"}, {300, 2.5, "not steady"}, {600, 4.812, "not steady"}, {900, 4.813, "not steady"}, {1200, 4.812, "not steady"},
		{1500, 4.812, ""}, {1800, 4.813, ""}, {2100, 4.9, "not steady"},
	} {
		settled, why := d.add(sample(c.after*time.Millisecond, c.volts), 0.001, 0.5)
		if settled != (c.why == "") || !strings.Contains(why, c.why) {
			t.Errorf("after %d ms: settled %v, %q", c.after, settled, why)
		}
	}
	bad := sample(2400*time.Millisecond, 0)
	bad.SetFault(reading.Overload, "overload")
	if settled, why := d.add(bad, 0.001, 0.5); settled || why != "overload" {
		t.Errorf("overload: %v %q", settled, why)
	}
}

// The value of the place before does not settle at the next one until the display shows that the leads have moved:
// another value, none, or hardly any.
func TestValueOfThePlaceBefore(t *testing.T) {
	at := time.Date(2026, 11, 30, 12, 0, 0, 0, time.UTC)
	steady := func(d *settling, volts float64) (settled bool, why string) {
		for range 8 {
			at = at.Add(200 * time.Millisecond)
			settled, why = d.add(reading.Sample{Reading: reading.Reading{Time: at, Value: volts}}, 0.001, 0.5)
		}
		return settled, why
	}
	const stays = "still as at the place before"
	for what, leave := range map[string]func(*settling){
		"another value": func(d *settling) { steady(d, 4.5) },
		"hardly any":    func(d *settling) { steady(d, 0.001) },
		"none": func(d *settling) {
			x := reading.Sample{Reading: reading.Reading{Time: at}}
			x.SetFault(reading.Overload, "overload")
			d.add(x, 0.001, 0.5)
		},
	} {
		d := &settling{}
		if settled, why := steady(d, 4.812); !settled {
			t.Fatalf("the first place: %s", why)
		}
		*d = d.next(true)
		if settled, why := steady(d, 4.815); settled || !strings.Contains(why, stays) {
			t.Errorf("%s: settled %v before the leads move, %q", what, settled, why)
		}
		*d = d.next(false) // a note
		*d = d.next(true)  // the walk changes its mind meanwhile, twice
		*d = d.next(true)
		if settled, why := steady(d, 4.815); settled || !strings.Contains(why, stays) {
			t.Errorf("%s: settled %v after a change of mind, %q", what, settled, why)
		}
		leave(d)
		if settled, why := steady(d, 4.812); !settled {
			t.Errorf("%s: the next place: %q", what, why)
		}
		*d = d.next(false) // the same place in another step
		if settled, why := steady(d, 4.812); !settled {
			t.Errorf("%s: the same place again: %q", what, why)
		}
	}
}
