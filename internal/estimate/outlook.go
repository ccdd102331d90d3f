package estimate

import (
	"math"
	"slices"

	"ohmkeep/internal/assessment"
	"ohmkeep/internal/ladder"
	"ohmkeep/internal/leastsquares"
	"ohmkeep/internal/run"
)

// Outlook is what readings not yet taken would tell, as the fit has it: the same
// problem with a node at every place where somebody could put a meter, all steps of the
// run, and the ranges of the meters at hand. Its first unknowns are those of the fit.
type Outlook struct {
	est        *Estimate
	problem    *problem
	meters     []int
	places     []run.Place
	x          []float64
	covariance *leastsquares.Matrix
	solved     []bool // by step
}

// Candidate is a reading that somebody could take.
type Candidate struct {
	observation
	quantity run.Quantity
	meter    int
	row      []float64 // derivatives of the reading by unknown, over its deviation
}

// Carried gives the meters that somebody can carry to a place: all but those that
// belong to sensors which stay where they are.
func Carried(r *run.Run) []int {
	fixed := make([]bool, len(r.Meters))
	for _, p := range r.Probes {
		if p.Meter < 0 {
			continue
		}
		at := true
		for _, c := range p.Channels {
			at = at && c.From != ""
		}
		fixed[p.Meter] = fixed[p.Meter] || at
	}
	var list []int
	for i := range r.Meters {
		if !fixed[i] {
			list = append(list, i)
		}
	}
	if list == nil {
		list = []int{0}
	}
	return list
}

// Outlook sets up what could be read with some meters. The error tells that the network
// cannot be laid out.
func (e *Estimate) Outlook(meters []int) (*Outlook, error) {
	p := e.problem
	o := &Outlook{est: e, meters: meters, places: readable(p.run)}
	q := &problem{run: p.run, temperature: p.temperature, steps: p.steps, read: len(p.steps), segment: p.segment,
		scales: slices.Clone(p.scales), held: p.held}
	for _, m := range meters {
		if p.run.Meters[m].Each {
			continue // another place has other errors
		}
		for at, limits := range p.run.Meters[m].Ranges {
			if limits.Quantity != run.Temperature {
				q.scaleOf(scale{meter: m, at: at, limits: limits})
			}
		}
	}
	net, err := ladder.New(p.run, o.places...)
	if err != nil {
		return nil, err
	}
	q.net, q.gradient = net, net.NewGradient()
	q.layUnknowns()
	for i := range q.alikes {
		q.alikes[i].idle = p.alikes[i].idle
	}
	q.row = make([]float64, len(q.unknowns))
	o.problem = q
	o.x, o.covariance = o.widen(e.x), leastsquares.NewMatrix(len(q.unknowns), len(q.unknowns))
	for i := range q.unknowns {
		if i < len(e.x) {
			copy(o.covariance.Row(i), e.covariance.Row(i))
			continue
		}
		u := q.unknowns[i]
		o.x[i] = u.mean
		o.covariance.Row(i)[i] = u.deviation * u.deviation
	}
	for k := range q.steps {
		q.solvers = append(q.solvers, net.NewSolver())
		q.states = append(q.states, q.newState())
		o.solved = append(o.solved, q.settle(k, o.x) == nil)
	}
	return o, nil
}

// single has the reels among some targets known by readings of their own alone, as their
// verdicts are.
func (o *Outlook) single(targets []Target) {
	view := &Estimate{problem: o.problem, x: o.x, covariance: o.covariance}
	for _, t := range targets {
		x := &o.est.Elements[t.Element]
		view, _ = view.alone(x.Kind, x.Index)
	}
	o.x, o.covariance = view.x, view.covariance
	for k := range o.solved {
		o.solved[k] = o.solved[k] && o.problem.settle(k, o.x) == nil
	}
}

// widen gives a row of the fit the outlook's length.
func (o *Outlook) widen(row []float64) []float64 {
	wide := make([]float64, len(o.problem.unknowns))
	copy(wide, row)
	return wide
}

// readable lists where a pair of conductors can be touched: supplies, junctions, the
// ends of reels and feeds, and three places within each reel.
func readable(r *run.Run) []run.Place {
	var list []run.Place
	for i := range r.Supplies {
		list = append(list, run.Place{Kind: run.AtSupply, Index: i})
	}
	for i := range r.Junctions {
		at := run.Place{Kind: run.AtJunction, Index: i}
		if slices.ContainsFunc(r.Feeds, func(f run.Feed) bool { return f.From == at || f.To == at }) {
			list = append(list, at)
		}
	}
	for i, reel := range r.Reels {
		pixels := []int{1, reel.Pixels}
		for quarter := 1; quarter < 4; quarter++ {
			pixels = append(pixels, 1+(reel.Pixels-1)*quarter/4)
		}
		for _, f := range r.Feeds {
			if f.To.Kind == run.AtReel && f.To.Index == i {
				pixels = append(pixels, f.To.Pixel)
			}
		}
		slices.Sort(pixels)
		for _, pixel := range slices.Compact(pixels) {
			list = append(list, run.Place{Kind: run.AtReel, Index: i, Pixel: pixel})
		}
	}
	return list
}

// Candidates lists what could be read in every step: the pair voltages of all places,
// each conductor over each joint, and the feeds' currents, with every meter that can.
func (o *Outlook) Candidates() []Candidate {
	p := o.problem
	var list []Candidate
	for k := range p.steps {
		if !o.solved[k] {
			continue
		}
		for i := range p.run.Feeds {
			list = o.consider(list, run.Current, observation{step: k, feed: i})
		}
		for _, at := range o.places {
			list = o.consider(list, run.Voltage, observation{step: k, feed: absent,
				from: run.Point{Place: at}, to: run.Point{Place: at, Rail: run.Minus}})
		}
		for _, j := range p.run.Joints {
			end := run.Place{Kind: run.AtReel, Index: j.From, Pixel: p.run.Reels[j.From].Pixels}
			start := run.Place{Kind: run.AtReel, Index: j.To, Pixel: 1}
			for _, rail := range []run.Rail{run.Plus, run.Minus} {
				if rail == run.Plus && j.PlusCut {
					continue
				}
				list = o.consider(list, run.Voltage, observation{step: k, feed: absent,
					from: run.Point{Place: end, Rail: rail}, to: run.Point{Place: start, Rail: rail}})
			}
		}
	}
	return list
}

// consider appends a candidate for each meter that can take it.
func (o *Outlook) consider(list []Candidate, quantity run.Quantity, what observation) []Candidate {
	p := o.problem
	what.scale = absent
	value, err := p.predict(&what, o.x, p.row)
	if err != nil {
		return list
	}
	for _, m := range o.meters {
		at := p.run.Meters[m].Range(quantity, value)
		if at < 0 {
			continue
		}
		limits := p.run.Meters[m].Ranges[at]
		c := Candidate{observation: what, quantity: quantity, meter: m, row: slices.Clone(p.row)}
		c.value = value
		variance := limits.Resolution * limits.Resolution * (1.0/12 + repeat*repeat)
		if p.run.Meters[m].Each {
			a, b := limits.Fraction*value, limits.Counts*limits.Resolution
			variance += (a*a + b*b) / 3
		} else {
			c.scale = p.scaleOf(scale{meter: m, at: at, limits: limits})
			c.row[p.scales[c.scale].gain], c.row[p.scales[c.scale].offset] = value, 1
		}
		c.deviation = math.Max(math.Sqrt(variance), 1e-6)
		for j := range c.row {
			c.row[j] /= c.deviation
		}
		list = append(list, c)
	}
	return list
}

// taken tells whether a candidate was read already: to read it again would show the
// same digits.
func (o *Outlook) taken(c Candidate) bool {
	p := o.est.problem
	for i := range p.observations {
		x := &p.observations[i]
		if x.step != c.step || x.feed != c.feed || p.scales[x.scale].meter != c.meter {
			continue
		}
		if c.feed != absent || x.from == c.from && x.to == c.to || x.from == c.to && x.to == c.from {
			return true
		}
	}
	return false
}

// Name says what to read for a candidate.
func (o *Outlook) Name(c *Candidate) assessment.Next {
	r := o.problem.run
	next := assessment.Next{Quantity: c.quantity, Step: r.Steps[o.problem.steps[c.step]].Name, Meter: r.Meters[c.meter].Name}
	if c.quantity == run.Current {
		next.From = r.Feeds[c.feed].Name
		return next
	}
	next.From, next.To = r.PointName(c.from), r.PointName(c.to)
	return next
}

// Amps is the greatest current through an element in any step, and that step's index in
// the run; -1 where no step can be solved.
func (o *Outlook) Amps(x *Element) (amps float64, step int) {
	p := o.problem
	step = -1
	for k, s := range p.solvers {
		if !o.solved[k] {
			continue
		}
		if now := ampsIn(s, x.Kind, x.Index, run.Plus); step < 0 || now > amps {
			amps, step = now, p.steps[k]
		}
	}
	return amps, step
}
