package estimate

import (
	"math"
	"slices"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/fit/search"
	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/numeric/matrix"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/verdict"
)

// describeElements computes the loop of every joint, feed and reel, each rail, and the supplies'
// output resistance.
func (e *Estimate) describeElements(open []search.OpenConductor) {
	p := e.Model
	next := 0 // split of the next element with two rails
	addPair := func(kind run.Kind, index int) {
		if k := slices.IndexFunc(open, func(c search.OpenConductor) bool { return c.Split == next }); k >= 0 {
			e.addOpen(kind, index, open[k])
		} else {
			e.addRails(kind, index, p.SplitUnder(e.Assumptions, next))
		}
		next++
	}
	for i, at := range p.Joints {
		if at[run.Plus] == model.Absent {
			one := single(at[run.Minus], true, 1)
			one.Kind, one.Index, one.Rail, one.RailKnown = run.KindJoint, i, run.Minus, true
			e.add(one)
			continue
		}
		addPair(run.KindJoint, i)
	}
	for i := range p.Feeds {
		addPair(run.KindFeed, i)
	}
	for i := range p.Reels {
		addPair(run.KindReel, i)
	}
	for i := range p.Run.Supplies {
		one := single(p.Supplies[i][1], false, 1)
		one.Kind, one.Index, one.Rail = run.KindSupply, i, run.Loop
		e.add(one)
	}
}

// maxSplitDeviation is the largest ratio of posterior to prior standard deviation of a split with
// which the readings count as determining each rail.
const maxSplitDeviation = 0.4

// addRails adds an element's loop and its two rails.
func (e *Estimate) addRails(kind run.Kind, index int, s prior.Split) {
	p := e.Model
	perMetre := 1.0
	if !s.Transformed {
		perMetre = p.Segment[index] / 2 / p.Run.Reels[index].SegmentLength()
	}
	loop := Element{Kind: kind, Index: index, Rail: run.Loop, split: &s,
		resistance: model.Resistance{Rails: s.Rails, Transformed: s.Transformed, Unit: perMetre}}
	v := e.withoutFoilPrior(kind, index)
	e.Elements = append(e.Elements, v.withBelief(loop))
	share := make([]float64, len(e.X))
	s.Row(e.X, share)
	apart := math.Sqrt(matrix.Quadratic(e.Covariance, share)) < maxSplitDeviation
	for rail, name := range []run.Rail{run.Plus, run.Minus} {
		one := single(s.Rails[rail], s.Transformed, perMetre)
		one.Kind, one.Index, one.Rail, one.RailKnown, one.split = kind, index, name, apart, &s
		e.Elements = append(e.Elements, v.withBelief(one))
	}
}

// addOpen adds an element with an open conductor, and its rails where the readings show which of
// them is open.
func (e *Estimate) addOpen(kind run.Kind, index int, c search.OpenConductor) {
	for _, rail := range []run.Rail{run.Loop, run.Plus, run.Minus} {
		at := c.Unknown
		if rail != run.Loop {
			at = e.Model.Splits[c.Split].Rails[rail]
		}
		one := single(at, true, 1)
		one.Kind, one.Index, one.Rail, one.RailKnown = kind, index, rail, c.RailKnown
		if at == c.Unknown {
			one.Open, one.LowerBound = true, c.LowerBound
		}
		e.add(one)
	}
}

// single returns an element whose value is one unknown times unit.
func single(unknown int, transformed bool, unit float64) Element {
	return Element{resistance: model.Resistance{Rails: [2]int{unknown, model.Absent}, Transformed: transformed, Unit: unit}}
}

// add adds an element with its belief.
func (e *Estimate) add(x Element) { e.Elements = append(e.Elements, e.withBelief(x)) }

// withBelief computes an element's value, standard deviation, current and heat, and whether it is
// known.
func (e *Estimate) withBelief(x Element) Element {
	x.Belief.Mean, x.Row = x.resistance.At(e.X)
	along := matrix.Times(e.Covariance, x.Row)
	x.Belief.Deviation = e.Inflation * math.Sqrt(math.Max(matrix.Dot(x.Row, along), 0))
	x.Belief.RectangularHalfWidths = e.rectangularParts(along, x.Belief.Deviation)
	x.Belief.DeviationSpread = e.tail(along, x.Belief.Deviation)
	x.Known = x.Open || e.Determined(x.Row)
	if x.Rail != run.Minus {
		x.Amps = e.amps(x.Kind, x.Index, run.Plus)
	}
	if x.Rail != run.Plus && x.Kind != run.KindSupply {
		x.Amps = math.Max(x.Amps, e.amps(x.Kind, x.Index, run.Minus))
	}
	x.Watts = e.watts(&x)
	return x
}

// watts returns the largest heat of a joint or feed in the steps with readings, W. Its two
// conductors may carry different currents.
func (e *Estimate) watts(x *Element) (most float64) {
	at := map[run.Rail]int{}
	for rail := run.Plus; x.resistance.Transformed && rail <= run.Minus; rail++ {
		switch {
		case x.split != nil && (x.Rail == run.Loop || x.Rail == rail):
			at[rail] = x.split.Rails[rail]
		case x.split == nil && x.Kind == run.KindJoint && rail == run.Minus: // its plus is cut
			at[rail] = e.Model.Joints[x.Index][run.Minus]
		}
	}
	for _, s := range e.point.Solvers[:e.Model.ReadSteps] {
		heat := 0.0
		for rail, k := range at {
			amps := AmpsIn(s, x.Kind, x.Index, rail)
			heat += amps * amps * math.Max(prior.ToOhms(e.X[k]), 0)
		}
		most = math.Max(most, heat)
	}
	return most
}

// minRectangularShare is the least part of a variance for which an error with a rectangular
// distribution is treated as such; smaller ones count as normal.
const minRectangularShare = 0.03

// rectangularParts returns the half-widths of the largest rectangular parts of an element's
// error, from its covariance with each unknown: an unknown contributes the covariance over its
// prior standard deviation.
func (e *Estimate) rectangularParts(along []float64, deviation float64) (most [len(verdict.Belief{}.RectangularHalfWidths)]float64) {
	for j, u := range e.Model.Unknowns {
		half := math.Sqrt(3) * e.Inflation * math.Abs(along[j]) / u.Deviation
		if !u.Rectangular || half*half/3 < minRectangularShare*deviation*deviation {
			continue
		}
		for k := range most {
			if half > most[k] {
				most[k], half = half, most[k]
			}
		}
	}
	return most
}

// amps returns the largest current through a conductor in the steps with readings, A.
func (e *Estimate) amps(kind run.Kind, index int, rail run.Rail) float64 {
	most := 0.0
	for _, s := range e.point.Solvers[:e.Model.ReadSteps] {
		most = math.Max(most, AmpsIn(s, kind, index, rail))
	}
	return most
}

// AmpsIn returns the current of a conductor in one solved step, without sign, A.
func AmpsIn(s *ladder.Solver, kind run.Kind, index int, rail run.Rail) float64 {
	switch kind {
	case run.KindJoint:
		return math.Abs(s.JointAmps(index, rail))
	case run.KindFeed:
		return math.Abs(s.FeedAmps(index, rail))
	case run.KindSupply:
		return math.Abs(s.SupplyAmps(index))
	}
	return math.Abs(s.ReelAmps(index, rail))
}

// describeProfiles stores the fitted node voltages along the reels. Their 95 % band is computed
// at the network's nodes and interpolated linearly between them.
func (e *Estimate) describeProfiles() {
	p := e.Model
	for k, step := range p.Steps[:p.ReadSteps] {
		profile := assessment.Profile{Step: p.Run.Steps[step].Name}
		for i, reel := range p.Run.Reels {
			rp := assessment.ReelProfile{Name: reel.Name, Plus: make([]float64, reel.Pixels),
				Minus: make([]float64, reel.Pixels), Band: make([]float64, reel.Pixels)}
			e.point.Solvers[k].Reel(i, rp.Plus, rp.Minus, nil)
			e.band(k, i, rp.Band)
			profile.Reels = append(profile.Reels, rp)
		}
		e.Profiles = append(e.Profiles, profile)
	}
}

// band writes the half-width of the 95 % band of a reel's pair voltages in step k, V, by pixel.
func (e *Estimate) band(k, reel int, band []float64) {
	lastPixel, lastHalf := 0, 0.0
	for _, pixel := range e.Model.Net.Taps(reel) {
		at := run.Place{Kind: run.AtReel, Index: reel, Pixel: pixel}
		half := 0.0
		if row, err := e.point.PairVoltageGradient(k, at); err == nil {
			half = verdict.Coverage95 * e.deviation(row)
		}
		band[pixel-1] = half
		for between := lastPixel + 1; lastPixel > 0 && between < pixel; between++ {
			part := float64(between-lastPixel) / float64(pixel-lastPixel)
			band[between-1] = lastHalf + part*(half-lastHalf)
		}
		lastPixel, lastHalf = pixel, half
	}
}

// withoutFoilPrior returns the estimate used for an element: for a reel without the foil prior,
// in the linear model at the fit; the estimate itself for other elements.
func (e *Estimate) withoutFoilPrior(kind run.Kind, index int) *Estimate {
	if kind != run.KindReel || e.Covariance == nil {
		return e
	}
	l, ok := e.Linear.WithoutFoilPrior(index)
	if !ok {
		return e
	}
	v := *e
	v.Linear = l
	return &v
}

// WithModel returns the estimate in an extended linear model, with its sum of squares computed
// and the beliefs of the given elements updated.
func (e *Estimate) WithModel(l model.Linear, elements []int) (*Estimate, error) {
	var err error
	if l.Sum, err = l.Model.SumAt(l.Assumptions, l.X); err != nil {
		return nil, err
	}
	f := &Estimate{Linear: l, Inflation: e.Inflation, Fit: e.Fit, Elements: slices.Clone(e.Elements)}
	for _, i := range elements {
		x := &f.Elements[i]
		x.Row = f.ExtendRow(x.Row)
		view := f.withoutFoilPrior(x.Kind, x.Index)
		along := matrix.Times(view.Covariance, x.Row)
		x.Belief.Deviation = f.Inflation * math.Sqrt(math.Max(matrix.Dot(x.Row, along), 0))
		x.Belief.RectangularHalfWidths = f.rectangularParts(along, x.Belief.Deviation)
	}
	return f, nil
}
