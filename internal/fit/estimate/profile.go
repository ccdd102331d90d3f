package estimate

import (
	"math"

	"ohmkeep/internal/numeric/matrix"
	"ohmkeep/internal/verdict"
)

const (
	// VerdictSigmas is the largest distance from the estimate, in standard deviations, at which the
	// sum of squares is evaluated for a verdict; its shape further out does not change a verdict.
	// IntervalSigmas is the same for the end of a 95 % interval.
	VerdictSigmas  = 8.0
	IntervalSigmas = 2.0
	// parabolaTolerance is the relative difference between the sum of squares and that predicted by
	// the covariance up to which the covariance is used.
	parabolaTolerance = 0.1
)

// Profile is the least sum of squares as a function of one element's value. It keeps the fits with
// the element held, so that none is made twice.
//
// The covariance at the best fit describes the sum of squares as a parabola. That is wrong where
// little current crosses a joint, or where the joint itself limits the current. The element is then
// held at a value, and the other unknowns are fitted again.
type Profile struct {
	est  *Estimate // without the foil prior of a reel
	x    *Element
	fits []heldFit
	// parabolas holds what checkParabola found, by value.
	parabolas map[float64]parabola
}

// parabola is what checkParabola finds at a value.
type parabola struct {
	best  []float64
	holds bool
}

// heldFit is the least sum of squares with the element held at a value, and the unknowns there.
type heldFit struct {
	value, sum float64
	at         []float64
	ok         bool // a fit was possible
}

// Profile returns the profile of element i.
func (e *Estimate) Profile(i int) *Profile {
	x := &e.Elements[i]
	return &Profile{est: e.withoutFoilPrior(x.Kind, x.Index), x: x, parabolas: map[float64]parabola{}}
}

// ProfileBelief is Profile.Belief for a single question.
func (e *Estimate) ProfileBelief(i int, ohms, maxSigmas float64) verdict.Belief {
	return e.Profile(i).Belief(ohms, maxSigmas)
}

// raw returns the standard deviation of the element without the inflation of a poor fit. ok is false
// where it is open, or not known at all.
func (p *Profile) raw() (deviation float64, ok bool) {
	deviation = p.x.Belief.Deviation / p.est.Inflation
	return deviation, !p.x.Open && deviation > 0 && !math.IsInf(deviation, 1)
}

// base returns the estimate, or zero where that is negative.
func (p *Profile) base() float64 { return math.Max(p.x.Belief.Mean, 0) }

// Belief returns the belief in the direction of a value in ohms (per metre for a reel). Where the
// sum of squares is no parabola, the standard deviation follows from its rise (signed root of the
// likelihood ratio). It is +Inf where the other value explains the readings as well. The sum is
// evaluated at most maxSigmas standard deviations away.
func (p *Profile) Belief(ohms, maxSigmas float64) verdict.Belief {
	b, base := p.x.Belief, p.base()
	raw, ok := p.raw()
	offset := min(max(p.x.Scale(ohms)-base, -maxSigmas*raw), maxSigmas*raw)
	if !ok || offset == 0 {
		return b
	}
	start, parabolic := p.checkParabola(base + offset)
	if parabolic {
		return b
	}
	for _, factor := range retryFactors {
		at := base + factor*offset
		if rise, _, ok := p.riseTo(at, start); ok && rise > 0 {
			return b.Rescaled(base, math.Abs(at-base)/math.Sqrt(rise)*p.est.Inflation)
		}
	}
	return verdict.Belief{Mean: base, Deviation: math.Inf(1)}
}

// retryFactors are the parts of the distance at which the sum of squares is evaluated, one after
// the other: a fit may converge at one value and not at another.
var retryFactors = [...]float64{1, 0.93, 1.07}

// riseTo returns the rise of the least sum of squares from the element's estimate, or from zero
// where that is negative, to another value of it, and the unknowns there. ok is false where no fit
// is possible.
func (p *Profile) riseTo(target float64, start []float64) (rise float64, at []float64, ok bool) {
	base := p.est.Sum
	if mean, _ := p.x.resistance.At(p.est.X); mean < 0 {
		zero := p.heldAt(0, start)
		if base = zero.sum; !zero.ok {
			return 0, nil, false
		}
	}
	held := p.heldAt(target, start)
	return held.sum - base, held.at, held.ok
}

// heldAt returns the fit with the element held at a value. It begins at the better of the estimate
// and the start given.
func (p *Profile) heldAt(value float64, start []float64) heldFit {
	for _, f := range p.fits {
		if f.value == value {
			return f
		}
	}
	e, raw := p.est, p.x.Belief.Deviation/p.est.Inflation
	sigmas := math.Abs(value-p.base()) / raw
	f := heldFit{value: value}
	f.sum, f.at, f.ok = e.SumHeldAt(p.x.resistance, value, sumAccuracy*sigmas*sigmas,
		start, e.Model.StartHeldAt(p.x.split, value, e.X))
	p.fits = append(p.fits, f)
	return f
}

// sumAccuracy is the accuracy of a least sum of squares, as a part of its rise on a parabola: half a
// per cent of a standard deviation.
const sumAccuracy = 0.01

// checkParabola is Estimate.checkParabola of the profile's element.
func (p *Profile) checkParabola(target float64) (best []float64, parabolic bool) {
	at, known := p.parabolas[target]
	if !known {
		at.best, at.holds = p.est.checkParabola(p.x, target)
		p.parabolas[target] = at
	}
	return at.best, at.holds
}

// checkParabola moves an element to a value and the other unknowns as the covariance predicts,
// with and without the split prior: that prior couples the rails at the fit and hardly at all
// once one of them is bad. It reports whether the sum of squares agrees with the prediction, and
// returns the unknowns with the smaller one.
func (e *Estimate) checkParabola(x *Element, target float64) (best []float64, parabolic bool) {
	m := e.Model
	offset := target - x.Belief.Mean
	variance := matrix.Quadratic(e.Covariance, x.Row)
	expected := offset * offset / variance
	least, bound := math.Inf(1), m.BoundSum(e.X) // the covariance is that without bounds
	parabolic = true
	try := func(along []float64, variance float64, differs func(rise float64) bool) {
		at := append([]float64(nil), e.X...)
		for j := range at {
			at[j] += along[j] * offset / variance
		}
		sum, err := m.SumAt(e.Assumptions, at)
		if err != nil {
			parabolic = false
			return
		}
		parabolic = parabolic && !differs(sum-m.BoundSum(at)-e.Sum+bound)
		if sum < least {
			least, best = sum, at
		}
	}
	along := matrix.Times(e.Covariance, x.Row)
	try(along, variance, func(rise float64) bool { return math.Abs(rise-expected) > parabolaTolerance*expected+0.1 })
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
			try(along, variance, func(rise float64) bool { return rise < (1-parabolaTolerance)*expected-0.1 })
		}
	}
	if best == nil {
		best = e.X
	}
	return best, parabolic
}
