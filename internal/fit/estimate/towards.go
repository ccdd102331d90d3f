package estimate

import (
	"math"

	"ohmkeep/internal/numeric/matrix"
	"ohmkeep/internal/verdict"
)

const (
	// Verdict is how many deviations from the estimate the sum of squares is looked at for
	// a verdict, which does not depend on its shape any further out; Interval the same for
	// the bound of a 95 % interval.
	VerdictSigmas  = 8.0
	IntervalSigmas = 2.0
	// straightness is how far, as a part, the sum of squares may lie from what the covariance
	// promises for the covariance to be believed without another fit.
	straightness = 0.1
)

// Towards is the belief in element i as it is in the direction of a value in ohms (per
// metre for a reel). The covariance at the best fit describes a parabola; where little
// current crosses a joint, or as much as the joint lets through, the sum of squares is
// none. There the element is held near the value, everything else is fitted again, and
// the deviation is the one that the rise of the sum of squares stands for (the signed
// root of the likelihood ratio). It is infinite where the other value explains the
// readings as well. It is looked at as many deviations away as within says, or at the
// value itself.
func (e *Estimate) BeliefTowards(i int, ohms, within float64) verdict.Belief {
	x := &e.Elements[i]
	b := x.Belief
	raw := b.Deviation / e.Inflation
	if x.Open || !(raw > 0) || math.IsInf(raw, 1) {
		return b
	}
	off := min(max(x.Scale(ohms)-math.Max(b.Mean, 0), -within*raw), within*raw)
	target := math.Max(b.Mean, 0) + off
	if off == 0 {
		return b
	}
	defer e.restore()
	e, done := e.alone(x.Kind, x.Index)
	defer done()
	start, straight := e.look(x, target)
	if straight {
		return b
	}
	var base float64
	for _, part := range aside {
		at := target + (part-1)*off
		var rise float64
		var ok bool
		if base, rise, ok = e.between(x, at, start); !ok {
			base, rise, ok = e.beyond(x, at, start)
		}
		if ok && rise > 0 {
			return b.Bent(base, math.Abs(at-base)/math.Sqrt(rise)*e.Inflation)
		}
	}
	return verdict.Belief{Mean: base, Deviation: math.Inf(1)}
}

// aside are the parts of the way at which is looked, one after the other: fits between walls
// go round corners, and may not settle at one value and do beside it.
var aside = [...]float64{1, 0.93, 1.07}

// between is by how much the sum of squares rises to a value, and from where, among the
// accounts in which no conductor has less than no resistance; false where the fits did
// not settle.
func (e *Estimate) between(x *Element, target float64, start []float64) (base, rise float64, ok bool) {
	within, least := e.inside()
	if within == nil {
		return 0, 0, false
	}
	base, _ = x.valueAt(within)
	held, ok := e.Problem.BoundedSumHeldAt(x.valueAt, target, e.Problem.StartHeldAt(x.split, target, within), start)
	return math.Max(base, 0), held - least, ok
}

// beyond is the same among all accounts, so it never rises more.
func (e *Estimate) beyond(x *Element, target float64, start []float64) (base, rise float64, ok bool) {
	held, err := e.Problem.SumHeldAt(x.valueAt, target, start)
	return x.Belief.Mean, held - e.Sum, err == nil
}

// look moves an element to a value, and everything else as the covariance says, with
// and without what is known of how its rails share: that knowledge holds rails together
// at the fit and hardly at all once one of them is bad. It tells whether the sum of
// squares agrees with what the covariance promises, and gives the better place.
func (e *Estimate) look(x *Element, target float64) (place []float64, straight bool) {
	p := e.Problem
	off := target - x.Belief.Mean
	variance := matrix.Quadratic(e.Covariance, x.Row)
	promised := off * off / variance
	least := math.Inf(1)
	straight = true
	try := func(along []float64, variance float64, curved func(rise float64) bool) {
		at := append([]float64(nil), e.X...)
		for j := range at {
			at[j] += along[j] * off / variance
		}
		sum, err := p.SumAt(at)
		if err != nil {
			straight = false
			return
		}
		straight = straight && !curved(sum-e.Sum)
		if sum < least {
			least, place = sum, at
		}
	}
	along := matrix.Times(e.Covariance, x.Row)
	try(along, variance, func(rise float64) bool { return math.Abs(rise-promised) > straightness*promised+0.1 })
	if x.split != nil {
		s := make([]float64, len(e.X))
		x.split.Row(e.X, s)
		cs := matrix.Times(e.Covariance, s)
		rest := 1 - matrix.Dot(s, cs)
		if rest > 1e-9 {
			by := matrix.Dot(s, along) / rest
			for j := range along {
				along[j] += by * cs[j]
			}
			variance += by * by * rest
			try(along, variance, func(rise float64) bool { return rise < (1-straightness)*promised-0.1 })
		}
	}
	if place == nil {
		place = e.X
	}
	return place, straight
}

// inside is what physical gives, worked out once.
func (e *Estimate) inside() ([]float64, float64) {
	if e.boundedX == nil && !e.noBoundedFit {
		e.boundedX, e.boundedSum = e.BoundedBest()
		e.noBoundedFit = e.boundedX == nil
	}
	return e.boundedX, e.boundedSum
}

// restore brings the network's states back to the fit.
func (e *Estimate) restore() {
	// The same solves have succeeded before.
	_ = e.Problem.SolveReadSteps(e.X)
}
