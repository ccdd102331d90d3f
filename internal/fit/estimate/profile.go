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

// ProfileBelief returns the belief in element i in the direction of a value in ohms (per metre
// for a reel). The covariance at the best fit describes the sum of squares as a parabola. That is
// wrong where little current crosses a joint, or where the joint itself limits the current. The
// element is then held near the value, the other unknowns are fitted again, and the standard
// deviation follows from the rise of the sum of squares (signed root of the likelihood ratio). It
// is +Inf where the other value explains the readings as well. The sum is evaluated at most
// maxSigmas standard deviations away.
func (e *Estimate) ProfileBelief(i int, ohms, maxSigmas float64) verdict.Belief {
	x := &e.Elements[i]
	b := x.Belief
	raw := b.Deviation / e.Inflation
	if x.Open || !(raw > 0) || math.IsInf(raw, 1) {
		return b
	}
	offset := min(max(x.Scale(ohms)-math.Max(b.Mean, 0), -maxSigmas*raw), maxSigmas*raw)
	target := math.Max(b.Mean, 0) + offset
	if offset == 0 {
		return b
	}
	e = e.withoutFoilPrior(x.Kind, x.Index)
	start, parabolic := e.checkParabola(x, target)
	if parabolic {
		return b
	}
	for _, factor := range retryFactors {
		at := target + (factor-1)*offset
		if rise, _, ok := e.riseTo(x, at, start); ok && rise > 0 {
			base := math.Max(b.Mean, 0)
			return b.Rescaled(base, math.Abs(at-base)/math.Sqrt(rise)*e.Inflation)
		}
	}
	return verdict.Belief{Mean: math.Max(b.Mean, 0), Deviation: math.Inf(1)}
}

// retryFactors are the parts of the distance at which the sum of squares is evaluated, one after
// the other: a fit may converge at one value and not at another.
var retryFactors = [...]float64{1, 0.93, 1.07}

// riseTo returns the rise of the least sum of squares from an element's estimate, or from zero
// where that is negative, to another value of it, and the unknowns there. ok is false where no fit
// is possible.
func (e *Estimate) riseTo(x *Element, target float64, start []float64) (rise float64, at []float64, ok bool) {
	base := e.Sum
	if mean, _ := x.resistance.At(e.X); mean < 0 {
		if base, _, ok = e.heldAt(x, 0, start); !ok {
			return 0, nil, false
		}
	}
	held, at, ok := e.heldAt(x, target, start)
	return held - base, at, ok
}

// heldAt returns the least sum of squares with an element held at a value, and the unknowns there.
func (e *Estimate) heldAt(x *Element, value float64, start []float64) (least float64, at []float64, ok bool) {
	return e.Model.SumHeldAt(e.Assumptions, x.resistance, value, e.Model.StartHeldAt(x.split, value, e.X), start)
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
