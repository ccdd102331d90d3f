package plant

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runfile"
)

// Case is one evening with a run: its file, its true state, and what a person wrote
// down.
type Case struct {
	File             string // the run file's text
	Run              *run.Run
	Plant            *Plant
	Readings         []reading.Reading
	Wrong            []int // into Readings: those that a slip of the hand made wrong by more than any meter's error
	WrongWithinError []int // into Readings: those that a slip made wrong by less

	ranges []int     // by reading, of the meter
	truth  []float64 // by reading
	meter  *Meter
	rng    *rand.Rand // of what differs from one reading to the next
}

// Commission draws a case, or returns nil where the run that the seed draws has no
// place for the fault or no reading for the slip.
func Commission(kind Kind, by Disturbance, fault Fault, slip Slip, seed uint64) (*Case, error) {
	rng := rand.New(rand.NewPCG(seed, 20261130))
	file, err := kind.steps(kind.draft(rng), rng)
	if err != nil {
		return nil, err
	}
	r, err := runfile.Parse(kind.Name, []byte(file))
	if err != nil {
		return nil, err
	}
	c := &Case{File: file, Run: r, Plant: New(r, by, rng), rng: rng}
	if !c.Plant.breakIt(fault, rng) {
		return nil, nil
	}
	c.meter = NewMeter(r.Meters[0], by, rng)
	steps := []int{0, 1, 2, 3}
	if by.TwoSteps {
		steps = [][]int{{0, 3}, {1, 3}, {2, 3}}[rng.IntN(3)]
	}
	thermometer := rng.IntN(3) // none, at the beginning, in each step
	for n, step := range steps {
		if err := c.Plant.Set(step); err != nil {
			return nil, fmt.Errorf("%s: %w", kind.Name, err)
		}
		c.readStep(step, thermometer == 2 || thermometer == 1 && n == 0)
	}
	if !c.slip(slip, rng) {
		return nil, nil
	}
	return c, nil
}

// Walk reads a plant in every step of its run as a person does, with the run's first meter,
// a reading every 20 s from the given time on.
func (p *Plant) Walk(begin time.Time, rng *rand.Rand) ([]reading.Reading, error) {
	c := &Case{Run: p.Run, Plant: p, meter: NewMeter(p.Run.Meters[0], p.by, rng), rng: rng}
	for step := range p.Run.Steps {
		if err := p.Set(step); err != nil {
			return nil, err
		}
		c.readStep(step, false)
	}
	for i := range c.Readings {
		c.Readings[i].Time = begin.Add(time.Duration(i) * interval)
	}
	return c.Readings, nil
}

// readStep reads a step as a person does: along the run the pair voltages, the rails
// over each joint with the finest range that shows them, and each feed's current.
func (c *Case) readStep(step int, thermometer bool) {
	r := c.Run
	if thermometer {
		c.read(step, run.Temperature, r.Reels[0].Name, "", c.Plant.Warmth())
	}
	volts := func(a, b run.Point) {
		c.read(step, run.Voltage, r.PointName(a), r.PointName(b), c.Plant.Volts(a, b))
	}
	for _, at := range places(r) {
		volts(run.Point{Place: at, Rail: run.Plus}, run.Point{Place: at, Rail: run.Minus})
	}
	for _, j := range r.Joints {
		end := run.Place{Kind: run.AtReel, Index: j.From, Pixel: r.Reels[j.From].Pixels}
		start := run.Place{Kind: run.AtReel, Index: j.To, Pixel: 1}
		if !j.PlusCut {
			volts(run.Point{Place: end, Rail: run.Plus}, run.Point{Place: start, Rail: run.Plus})
		}
		volts(run.Point{Place: start, Rail: run.Minus}, run.Point{Place: end, Rail: run.Minus})
	}
	for i, f := range r.Feeds {
		c.read(step, run.Current, f.Name, "", c.Plant.Amps(i))
	}
}

// Read takes one more reading in a step, with the same meter. The names must be those of the run.
func (c *Case) Read(step int, q run.Quantity, from, to string) error {
	if err := c.Plant.Set(step); err != nil {
		return err
	}
	c.read(step, q, from, to, c.Plant.True(q, from, to))
	return nil
}

// read writes down one reading, if the meter has a range for it.
func (c *Case) read(step int, q run.Quantity, from, to string, value float64) {
	x := reading.Reading{Row: len(c.Readings) + 2, Time: begin.Add(time.Duration(len(c.Readings)) * interval),
		Step: c.Run.Steps[step].Name, Quantity: q, From: from, To: to, Meter: c.meter.Name}
	if at := c.meter.read(&x, value, c.rng); at >= 0 {
		c.Readings = append(c.Readings, x)
		c.ranges = append(c.ranges, at)
		c.truth = append(c.truth, value)
	}
}

var begin = time.Date(2026, 10, 3, 19, 0, 0, 0, time.UTC) // an invented evening

const interval = 20 * time.Second // from one reading to the next

// Truth returns the true resistance at 20 °C of both conductors of an element in Ω, of
// a reel in Ω/m; of a joint whose plus is cut, that of its minus.
func (c *Case) Truth(kind, name string) float64 {
	switch kind {
	case "joint":
		for i, j := range c.Run.Joints {
			if j.Name == name && j.PlusCut {
				return c.Plant.Joints[i].Minus
			} else if j.Name == name {
				return c.Plant.Joints[i].Loop()
			}
		}
	case "feed":
		return c.Plant.Feeds[c.Run.FeedIndex(name)].Loop()
	case "reel":
		return c.Plant.Reels[c.Run.ReelIndex(name)].Loop()
	}
	return math.NaN()
}
