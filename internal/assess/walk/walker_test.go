package walk

import (
	"math/rand/v2"
	"testing"
	"time"

	"ohmkeep/internal/assess/nextreading"
	"ohmkeep/internal/assess/plan"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/plant"
)

// walker is a person who does what a walk asks, with a simulated run and meter, which share nothing
// with the fit.
type walker struct {
	t     testing.TB
	plant *plant.Plant
	meter *plant.Meter
	rng   *rand.Rand
	now   time.Time
	steps int               // how often a step was set
	asked []assessment.Next // in their order
	again []Doubt           // why readings were asked again
}

func newWalker(t testing.TB, r *run.Run, seed uint64) *walker {
	rng := rand.New(rand.NewPCG(seed, 30))
	return &walker{t: t, plant: plant.New(r, plant.Plain, rng), meter: plant.NewMeter(r.Meters[0], plant.Plain, rng), rng: rng,
		now: time.Date(2026, 11, 30, 9, 0, 0, 0, time.UTC)}
}

// plans are those of runs that several tests walk, by name.
var plans = map[string]*plan.Plan{}

func planned(t testing.TB, r *run.Run) *plan.Plan {
	t.Helper()
	if plans[r.Name] == nil {
		p, err := plan.Make(r, nextreading.CarriedMeters(r))
		if err != nil {
			t.Fatal(err)
		}
		plans[r.Name] = p
	}
	return plans[r.Name]
}

// read returns what the meter shows for a reading.
func (p *walker) read(n assessment.Next) reading.Reading {
	x := reading.Reading{Time: p.now, Step: n.Step, Quantity: n.Quantity, From: n.From, To: n.To, Meter: p.meter.Name}
	if p.meter.Read(&x, p.plant.True(n.Quantity, n.From, n.To), p.rng) < 0 {
		p.t.Fatalf("the meter cannot show %v", n)
	}
	return x
}

// apply adds an event with the next number.
func (p *walker) apply(w Walk, e Event) Walk {
	p.t.Helper()
	p.now = p.now.Add(10 * time.Second)
	e.Number, e.Time = w.Number()+1, p.now
	after, err := w.Apply(e)
	if err != nil {
		p.t.Fatal(err)
	}
	return after
}

func (p *walker) learn(w Walk) Walk {
	p.t.Helper()
	k, err := w.Learn()
	if err != nil {
		p.t.Fatal(err)
	}
	return w.With(k)
}

// one does the next thing that a walk asks, and learns after every reading. wrong changes what the
// person writes down; done reports that the walk is finished.
func (p *walker) one(w Walk, wrong func(reading.Reading) reading.Reading) (after Walk, done bool) {
	p.t.Helper()
	if w.Stale() {
		w = p.learn(w)
	}
	task := w.Task()
	switch task.Kind {
	case SetStep:
		p.steps++
		if err := p.plant.Set(w.Run().StepIndex(task.Step)); err != nil {
			p.t.Fatal(err)
		}
		return p.apply(w, Event{Kind: Shown, Step: task.Step}), false
	case Measure:
		p.asked = append(p.asked, task.Read)
		if task.Again != nil {
			p.again = append(p.again, *task.Again)
		}
		x := p.read(task.Read)
		if wrong != nil {
			x = wrong(x)
		}
		return p.apply(w, w.Event(x)), false
	case Finished:
		return w, true
	}
	p.t.Fatalf("task %+v", task)
	return w, true
}

// follow does what a walk asks until it is finished.
func (p *walker) follow(w Walk, wrong func(reading.Reading) reading.Reading) Walk {
	p.t.Helper()
	for range 1000 {
		after, done := p.one(w, wrong)
		if done {
			return after
		}
		w = after
	}
	p.t.Fatal("the walk does not end")
	return w
}

// verdictOn returns the verdict on an element.
func verdictOn(w Walk, kind run.Kind, name string) assessment.Verdict {
	for _, x := range w.Known().Elements {
		if x.Kind == kind && x.Name == name && x.Rail == run.Loop {
			return x.Verdict
		}
	}
	return ""
}
