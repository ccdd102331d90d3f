package guide

import (
	"context"
	"fmt"
	"math/rand/v2"
	"strconv"
	"sync"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/plant"
)

// practise is a simulated run with a bad joint or feed, and a simulated meter that is carried along it.
// The figures of the faults are invented.
type practise struct {
	run   *run.Run
	fault string // what is wrong with the run, in words

	mu      sync.Mutex
	plant   *plant.Plant
	meters  []*plant.Meter // by the run's
	rng     *rand.Rand
	step    string
	place   string // where the leads are
	arrived time.Time
}

const (
	// travel is the time from one place to the next, during which the leads touch nothing.
	travel = 400 * time.Millisecond
	// simulatedPause is the time between two values of the simulated display.
	simulatedPause = 150 * time.Millisecond
)

func newPractise(r *run.Run, seed uint64) (*practise, error) {
	rng := rand.New(rand.NewPCG(seed, 15))
	p := &practise{run: r, plant: plant.New(r, plant.Plain, rng), rng: rng}
	for _, m := range r.Meters {
		p.meters = append(p.meters, plant.NewMeter(m, plant.Plain, rng))
	}
	for i, f := range r.Feeds { // sound ones, so that the fault is the only one
		ohms := f.Ohms * (1.02 + 0.03*rng.Float64())
		p.plant.Feeds[i] = plant.Rails{Plus: ohms / 2, Minus: ohms / 2}
	}
	if n := rng.IntN(len(r.Joints) + len(r.Feeds)); n < len(r.Joints) {
		bad := plant.Rails{Plus: 0.004, Minus: 0.06 + 0.06*rng.Float64()}
		p.plant.Joints[n] = bad
		p.fault = fmt.Sprintf("joint %s has %.0f mΩ", r.Joints[n].Name, 1000*bad.Loop())
	} else {
		n -= len(r.Joints)
		ohms := 0.1 + 1.5*r.Feeds[n].Ohms
		p.plant.Feeds[n] = plant.Rails{Plus: ohms / 2, Minus: ohms / 2}
		p.fault = fmt.Sprintf("feed %s has %.0f mΩ", r.Feeds[n].Name, 1000*ohms)
	}
	return p, nil
}

// SimulatedFault returns what is wrong with the run that practice has drawn, in words; "" without
// practice.
func (s *Session) SimulatedFault() string {
	if s.truth == nil {
		return ""
	}
	return s.truth.fault
}

func (p *practise) meter(q run.Quantity) string {
	for _, m := range p.run.Meters {
		if m.Measures(q) {
			return m.Name
		}
	}
	return ""
}

func (p *practise) pause() time.Duration { return simulatedPause }

// measure shows what the meter shows at a place, and nothing while the leads travel there.
func (p *practise) measure(_ context.Context, n assessment.Next) (reading.Sample, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	now := time.Now()
	if p.step != n.Step {
		if err := p.plant.Set(p.run.StepIndex(n.Step)); err != nil {
			return reading.Sample{}, err
		}
		p.step = n.Step
	}
	if place := n.Step + " " + n.From + " " + n.To; place != p.place {
		p.place, p.arrived = place, now.Add(travel)
	}
	x := reading.Sample{Reading: reading.Reading{Time: now, Quantity: n.Quantity}}
	value := 0.0
	if !now.Before(p.arrived) {
		value = p.plant.True(n.Quantity, n.From, n.To)
	}
	m := p.meters[max(p.run.MeterIndex(p.meter(n.Quantity)), 0)]
	switch {
	case m.Read(&x.Reading, value, p.rng) < 0:
		x.SetFault(reading.Overload, "overload: "+strconv.FormatFloat(value, 'g', 3, 64))
	case now.Before(p.arrived) && contactVolts(p.run, n) == 0: // where little is read too, the display shows that they travel
		x.SetFault(reading.Faulty, "the leads are on their way")
	}
	return x, nil
}
