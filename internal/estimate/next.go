package estimate

import (
	"math"

	"ohmkeep/internal/assessment"
	"ohmkeep/internal/leastsquares"
	"ohmkeep/internal/run"
)

// Target is an element that is not settled, and the standard deviation on its own
// scale at which it would be.
type Target struct {
	Element int // index into Estimate.Elements
	Needs   float64
	Name    string
}

// candidate is a reading that somebody could take.
type candidate struct {
	quantity run.Quantity
	place    run.Place // of a pair voltage
	feed     int
	step     int
	row      []float64 // derivatives of the reading by unknown, over its deviation
}

// worthwhile is the least relative narrowing for which a reading is proposed.
const worthwhile = 0.1

// Next proposes up to most readings that would settle the targets, best first. A
// reading narrows the covariance by a rank-one update whatever it will show, so its
// worth is known before it is taken.
func (e *Estimate) Next(targets []Target, most int) []assessment.Next {
	if len(targets) == 0 {
		return nil
	}
	list := e.candidates()
	c := &leastsquares.Matrix{Rows: e.covariance.Rows, Cols: e.covariance.Cols, Data: append([]float64(nil), e.covariance.Data...)}
	open := append([]Target(nil), targets...)
	var next []assessment.Next
	for len(next) < most && len(open) > 0 {
		best, bestWorth := -1, 0.0
		for i := range list {
			if worth := e.worth(c, open, &list[i]); worth > bestWorth {
				best, bestWorth = i, worth
			}
		}
		if best < 0 {
			break
		}
		narrow(c, list[best].row)
		one := e.propose(list[best])
		var rest []Target
		for _, t := range open {
			if math.Sqrt(quadratic(c, e.Elements[t.Element].row)) <= t.Needs {
				one.Settles = append(one.Settles, t.Name)
			} else {
				rest = append(rest, t)
			}
		}
		open = rest
		next = append(next, one)
	}
	// The last ones may narrow without settling; only what leads to an answer is asked.
	for len(next) > 0 && len(next[len(next)-1].Settles) == 0 {
		next = next[:len(next)-1]
	}
	return next
}

// worth is how much a candidate narrows the targets: the sum of the logarithms of
// the deviations' shrinking, the step into the settled counting once more.
func (e *Estimate) worth(c *leastsquares.Matrix, open []Target, x *candidate) float64 {
	along := times(c, x.row)
	denominator := 1 + dot(x.row, along)
	sum := 0.0
	for _, t := range open {
		row := e.Elements[t.Element].row
		before := quadratic(c, row)
		cross := dot(row, along)
		after := math.Max(before-cross*cross/denominator, 1e-30)
		if after > before*(1-worthwhile) {
			continue
		}
		goal := t.Needs * t.Needs
		sum += math.Log(before/math.Max(after, goal)) / 2
		if after <= goal {
			sum++
		}
	}
	return sum
}

// narrow updates a covariance by one reading of unit deviation.
func narrow(c *leastsquares.Matrix, row []float64) {
	along := times(c, row)
	denominator := 1 + dot(row, along)
	for i := range along {
		for j := range along {
			c.Data[i*c.Cols+j] -= along[i] * along[j] / denominator
		}
	}
}

func times(c *leastsquares.Matrix, row []float64) []float64 {
	out := make([]float64, c.Rows)
	for i := range out {
		out[i] = dot(c.Row(i), row)
	}
	return out
}

func dot(a, b []float64) float64 {
	sum := 0.0
	for i, x := range a {
		sum += x * b[i]
	}
	return sum
}

func (e *Estimate) propose(x candidate) assessment.Next {
	r := e.problem.run
	next := assessment.Next{Quantity: x.quantity, Step: r.Steps[e.problem.steps[x.step]].Name}
	if x.quantity == run.Current {
		next.From = r.Feeds[x.feed].Name
		return next
	}
	next.From = r.PlaceName(x.place) + "+"
	next.To = r.PlaceName(x.place) + "-"
	return next
}

// candidates lists the pair voltages and feed currents that could be read, in every
// step of the run, with the first meter's accuracy.
func (e *Estimate) candidates() []candidate {
	p := e.problem
	var places []run.Place
	for i := range p.run.Supplies {
		places = append(places, run.Place{Kind: run.AtSupply, Index: i})
	}
	for i := range p.run.Junctions {
		places = append(places, run.Place{Kind: run.AtJunction, Index: i})
	}
	for i := range p.run.Reels {
		for _, pixel := range p.net.Taps(i) {
			places = append(places, run.Place{Kind: run.AtReel, Index: i, Pixel: pixel})
		}
	}
	var list []candidate
	for k := range p.steps {
		if k >= p.read && p.settle(k, e.x) != nil {
			continue
		}
		for _, at := range places {
			o := observation{step: k, feed: absent, from: run.Point{Place: at}, to: run.Point{Place: at, Rail: run.Minus}}
			list = e.consider(list, o, candidate{quantity: run.Voltage, place: at, step: k})
		}
		for i := range p.run.Feeds {
			list = e.consider(list, observation{step: k, feed: i}, candidate{quantity: run.Current, feed: i, step: k})
		}
	}
	return list
}

// consider appends a candidate if the first meter can take it.
func (e *Estimate) consider(list []candidate, o observation, x candidate) []candidate {
	p := e.problem
	row := make([]float64, len(p.unknowns))
	o.scale = absent
	value, err := p.predict(&o, e.x, row)
	if err != nil {
		return list
	}
	at := p.run.Meters[0].Range(x.quantity, value)
	if at < 0 {
		return list
	}
	limits := p.run.Meters[0].Ranges[at]
	variance := limits.Resolution * limits.Resolution * (1.0/12 + repeat*repeat)
	shared := absent
	for i, s := range p.scales {
		if s.meter == 0 && s.at == at && s.place == "" {
			shared = i
		}
	}
	if shared != absent {
		row[p.scales[shared].gain] = value
		row[p.scales[shared].offset] = 1
	} else {
		a, b := limits.Fraction*value, limits.Counts*limits.Resolution
		variance += (a*a + b*b) / 3
	}
	deviation := math.Sqrt(math.Max(variance, 1e-12))
	for j := range row {
		row[j] /= deviation
	}
	x.row = row
	return append(list, x)
}
