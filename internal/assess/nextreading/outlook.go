// Package nextreading computes how far further readings would reduce the uncertainty of a run's
// elements, and which few readings would settle most of them.
//
// A reading reduces the covariance by an amount that does not depend on its value, so the fit alone
// determines it (optimal design of experiments). Where the likelihood is not quadratic, the
// expected likelihood itself is evaluated.
package nextreading

import (
	"math"
	"slices"

	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/numeric/matrix"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// Outlook computes the effect of readings that were not taken yet, on the basis of a fit. It holds
// the same model with a node at every place that a meter can reach, all steps of the run, and the
// ranges of the available meters. Its first unknowns are those of the fit.
type Outlook struct {
	model.Linear
	est        *estimate.Estimate
	point      *model.Point // the network solved at X
	meters     []int
	places     []run.Place
	conductors []run.Conductor
	solved     []bool             // by step
	settling   map[belief]float64 // see settlingDeviation
	root       *matrix.Root       // of the covariance; nil until it is needed
}

// Candidate is a reading that could be taken.
type Candidate struct {
	model.Observation
	quantity run.Quantity
	meter    int
	metres   float64   // of lead, where it is read along one conductor
	row      []float64 // derivatives of the reading by unknown, over its deviation
}

// CarriedMeters returns the meters that can be carried to a place: all but those that
// belong to sensors which stay where they are.
func CarriedMeters(r *run.Run) []int {
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

// NewOutlook returns the outlook for readings with some meters. It returns an error if the network
// cannot be built.
func NewOutlook(e *estimate.Estimate, meters []int) (*Outlook, error) {
	r := e.Model.Run
	wide, err := e.Model.Extended(meters, readable(r))
	if err != nil {
		return nil, err
	}
	o := &Outlook{est: e, meters: meters, places: readable(r), conductors: r.Conductors(), settling: map[belief]float64{}}
	return o, o.at(e.Linear.ExtendedTo(wide))
}

// withoutFoilPrior removes from the fit the prior that makes reels of one strip alike, for the reels
// among the targets, because their verdicts are computed without it.
func (o *Outlook) withoutFoilPrior(targets []Target) {
	l := o.Linear
	for _, t := range targets {
		if x := &o.est.Elements[t.Element]; x.Kind == run.KindReel {
			l, _ = l.WithoutFoilPrior(x.Index)
		}
	}
	// The same network was solved before at nearly the same values.
	_ = o.at(l)
}

// at sets the linear model and solves the network of every step there. A step without a solution
// has no candidates.
func (o *Outlook) at(l model.Linear) (err error) {
	o.Linear, o.root, o.solved = l, nil, nil
	if o.point, err = l.Model.At(l.Assumptions, l.X); err != nil {
		return err
	}
	for k := range l.Model.Steps {
		o.solved = append(o.solved, o.point.SolveStep(k) == nil)
	}
	return nil
}

// readable lists the places where both conductors can be touched: supplies, junctions, the
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
// each conductor over each joint, the feeds' currents, and the drop along each conductor
// of a feed or reel that a meter's lead reaches, with every meter that can.
func (o *Outlook) Candidates() []Candidate {
	list := o.nearby()
	for k := range o.Model.Steps {
		list = o.along(list, k, func(m run.Meter, metres float64) bool { return metres <= m.Lead })
	}
	return list
}

// BeyondLeads lists the drops along one conductor that the available leads do not reach, as they
// could be read with a longer one.
func (o *Outlook) BeyondLeads() (list []Candidate) {
	for k := range o.Model.Steps {
		list = o.along(list, k, func(m run.Meter, metres float64) bool { return metres > m.Lead && !math.IsInf(metres, 1) })
	}
	return list
}

// along appends the drops along both conductors of every feed and reel in a step, for the meters
// whose leads reach that far.
func (o *Outlook) along(list []Candidate, k int, may func(m run.Meter, metres float64) bool) []Candidate {
	r := o.Model.Run
	if !o.solved[k] {
		return list
	}
	for _, a := range o.conductors {
		var meters []int
		for _, m := range o.meters {
			if may(r.Meters[m], a.Metres) {
				meters = append(meters, m)
			}
		}
		if meters == nil {
			continue
		}
		for _, rail := range []run.Rail{run.Plus, run.Minus} {
			from := len(list)
			list = o.consider(list, run.Voltage, model.Observation{Step: k, Feed: model.Absent,
				From: run.Point{Place: a.From, Rail: rail}, To: run.Point{Place: a.To, Rail: rail}}, meters)
			for i := range list[from:] {
				list[from+i].metres = a.Metres
			}
		}
	}
	return list
}

// nearby lists what can be read with short leads.
func (o *Outlook) nearby() []Candidate {
	p := o.Model
	var list []Candidate
	for k := range p.Steps {
		if !o.solved[k] {
			continue
		}
		for i := range p.Run.Feeds {
			list = o.consider(list, run.Current, model.Observation{Step: k, Feed: i}, o.meters)
		}
		for _, at := range o.places {
			list = o.consider(list, run.Voltage, model.Observation{Step: k, Feed: model.Absent,
				From: run.Point{Place: at}, To: run.Point{Place: at, Rail: run.Minus}}, o.meters)
		}
		for _, j := range p.Run.Joints {
			end := run.Place{Kind: run.AtReel, Index: j.From, Pixel: p.Run.Reels[j.From].Pixels}
			start := run.Place{Kind: run.AtReel, Index: j.To, Pixel: 1}
			for _, rail := range []run.Rail{run.Plus, run.Minus} {
				if rail == run.Plus && j.PlusCut {
					continue
				}
				list = o.consider(list, run.Voltage, model.Observation{Step: k, Feed: model.Absent,
					From: run.Point{Place: end, Rail: rail}, To: run.Point{Place: start, Rail: rail}}, o.meters)
			}
		}
	}
	return list
}

// consider appends a candidate for each of some meters that can take the reading.
func (o *Outlook) consider(list []Candidate, quantity run.Quantity, what model.Observation, meters []int) []Candidate {
	p := o.Model
	what.MeterRange = model.Absent
	row := make([]float64, len(o.X))
	value, err := o.point.Predict(&what, row)
	if err != nil {
		return list
	}
	for _, m := range meters {
		at := p.Run.Meters[m].Range(quantity, value)
		if at < 0 {
			continue
		}
		limits := p.Run.Meters[m].Ranges[at]
		c := Candidate{Observation: what, quantity: quantity, meter: m, row: slices.Clone(row)}
		c.Value = value
		variance := p.VarianceOf(o.Assumptions, m, at, value)
		if p.Run.Meters[m].Each {
			a, b := limits.Fraction*value, limits.Counts*limits.Resolution
			variance += (a*a + b*b) / 3
		} else {
			c.MeterRange = p.MeterRangeIndex(model.MeterRange{Meter: m, Range: at, Limits: limits})
			c.row[p.MeterRanges[c.MeterRange].Gain], c.row[p.MeterRanges[c.MeterRange].Offset] = value, 1
		}
		c.Deviation = math.Max(math.Sqrt(variance), 1e-6)
		for j := range c.row {
			c.row[j] /= c.Deviation
		}
		list = append(list, c)
	}
	return list
}

// taken reports whether a candidate was read already, and not as a wrong reading. Reading it again
// would give the same digits.
func (o *Outlook) taken(c Candidate) bool {
	for i := range o.est.Observations {
		x := &o.est.Observations[i]
		wrong := x.Excluded && !x.ExcludedForGood
		if wrong || x.Step != c.Step || x.Feed != c.Feed || o.est.Model.MeterRanges[x.MeterRange].Meter != c.meter {
			continue
		}
		if c.Feed != model.Absent || x.From == c.From && x.To == c.To || x.From == c.To && x.To == c.From {
			return true
		}
	}
	return false
}

// Describe returns the reading of a candidate.
func (o *Outlook) Describe(c *Candidate) assessment.Next {
	r := o.Model.Run
	next := assessment.Next{Quantity: c.quantity, Step: r.Steps[o.Model.Steps[c.Step]].Name, Meter: r.Meters[c.meter].Name}
	if c.quantity == run.Current {
		next.From = r.Feeds[c.Feed].Name
		return next
	}
	next.Lead = c.metres
	next.From, next.To = r.PointName(c.From), r.PointName(c.To)
	return next
}

// MaxAmps is the greatest current through an element in any step, and that step's index in
// the run; -1 where no step can be solved.
func (o *Outlook) MaxAmps(x *estimate.Element) (amps float64, step int) {
	p := o.Model
	step = -1
	for k, s := range o.point.Solvers {
		if !o.solved[k] {
			continue
		}
		if now := estimate.AmpsIn(s, x.Kind, x.Index, run.Plus); step < 0 || now > amps {
			amps, step = now, p.Steps[k]
		}
	}
	return amps, step
}
