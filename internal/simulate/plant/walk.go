package plant

import (
	"math/rand/v2"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// Record is what a person writes down while reading a plant with one meter, beside the truth.
type Record struct {
	Plant    *Plant
	Meter    *Meter
	Readings []reading.Reading
	Ranges   []int     // by reading, of the meter
	Truth    []float64 // by reading, without the meter's errors

	rng *rand.Rand // of what differs from one reading to the next
}

// NewRecord returns an empty record. What differs from one reading to the next is drawn from rng.
func NewRecord(p *Plant, m *Meter, rng *rand.Rand) *Record {
	return &Record{Plant: p, Meter: m, rng: rng}
}

// Walk reads a plant in every step of its run as a person does, with the run's first meter,
// a reading every 20 s from the given time on.
func (p *Plant) Walk(begin time.Time, rng *rand.Rand) ([]reading.Reading, error) {
	c := NewRecord(p, NewMeter(p.Run.Meters[0], p.by, rng), rng)
	for step := range p.Run.Steps {
		if err := p.Set(step); err != nil {
			return nil, err
		}
		c.ReadStep(step, false)
	}
	for i := range c.Readings {
		c.Readings[i].Time = begin.Add(time.Duration(i) * interval)
	}
	return c.Readings, nil
}

// ReadStep reads the step that is set as a person does: along the run the pair voltages, the rails
// over each joint with the finest range that shows them, and each feed's current.
func (c *Record) ReadStep(step int, thermometer bool) {
	r := c.Plant.Run
	if thermometer {
		c.Add(step, run.Temperature, r.Reels[0].Name, "", c.Plant.Celsius())
	}
	volts := func(a, b run.Point) {
		c.Add(step, run.Voltage, r.PointName(a), r.PointName(b), c.Plant.Volts(a, b))
	}
	for _, at := range Places(r) {
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
		c.Add(step, run.Current, f.Name, "", c.Plant.Amps(i))
	}
}

// Add writes down one reading of a true value, if the meter has a range for it.
func (c *Record) Add(step int, q run.Quantity, from, to string, value float64) {
	x := reading.Reading{Row: len(c.Readings) + 2, Time: begin.Add(time.Duration(len(c.Readings)) * interval),
		Step: c.Plant.Run.Steps[step].Name, Quantity: q, From: from, To: to, Meter: c.Meter.Name}
	if at := c.Meter.Read(&x, value, c.rng); at >= 0 {
		c.Readings = append(c.Readings, x)
		c.Ranges = append(c.Ranges, at)
		c.Truth = append(c.Truth, value)
	}
}

var begin = time.Date(2026, 10, 3, 19, 0, 0, 0, time.UTC) // an invented evening

const interval = 20 * time.Second // from one reading to the next

// Places are where a person reads pair voltages: supplies, junctions, ends of reels
// and of feeds, each once.
func Places(r *run.Run) []run.Place {
	var list []run.Place
	seen := map[run.Place]bool{}
	add := func(p run.Place) {
		if !seen[p] {
			seen[p] = true
			list = append(list, p)
		}
	}
	for i := range r.Supplies {
		add(run.Place{Kind: run.AtSupply, Index: i})
	}
	for i := range r.Junctions {
		add(run.Place{Kind: run.AtJunction, Index: i})
	}
	for i, reel := range r.Reels {
		add(run.Place{Kind: run.AtReel, Index: i, Pixel: 1})
		for _, f := range r.Feeds {
			if f.To.Kind == run.AtReel && f.To.Index == i {
				add(f.To)
			}
		}
		add(run.Place{Kind: run.AtReel, Index: i, Pixel: reel.Pixels})
	}
	return list
}
