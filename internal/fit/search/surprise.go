package search

import (
	"math"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/numeric/chisquared"
)

// minExplainedPValue is the p-value below which further explanations are looked for.
const minExplainedPValue = 0.05

// explained reports whether no further explanation is looked for: the fit has converged, few
// readings are excluded, and no part of the readings or of the priors is improbable.
func (e explanation) explained() bool {
	return e.Converged && e.Assumptions.ExcludedCount() <= e.fewWrongReadings() && e.leastPValue() >= minExplainedPValue
}

// fewWrongReadings returns the number of outliers up to which nothing else is suspected: two, or
// one in a hundred readings. An open conductor affects every reading behind it.
func (e explanation) fewWrongReadings() int { return max(2, len(e.Observations)/100) }

// leastPValue returns the least p-value of all readings, of the readings of one step, of what one
// reel has, and of one unknown or split beside its prior; those of several steps, reels or unknowns
// of a kind times their number (Bonferroni's correction). Noise that is estimated from the residuals
// hides part of a contradiction from the p-value of all readings, and resistances that no run has
// may explain all readings of a wrong one.
func (e explanation) leastPValue() float64 {
	return math.Min(math.Min(e.PValue(), e.leastStepPValue()), math.Min(e.leastReelPValue(), e.leastPriorPValue()))
}

// leastStepPValue is that of the readings of one step; 1 where the fit has no covariance. Excluded
// readings count, except those with gross errors, each no more than the prior odds of a wrong one. An
// open conductor contradicts most where most current flows, and more than one reading.
func (e explanation) leastStepPValue() float64 {
	if e.Covariance == nil {
		return 1
	}
	steps := e.Model.ReadSteps
	squares, readings := make([]float64, steps), make([]int, steps)
	for i, o := range e.Observations {
		z := e.Standardised(i)
		if o.ExcludedForGood || o.Excluded && math.Abs(z) > grossSigmas {
			continue
		}
		if o.Excluded {
			z = math.Min(math.Abs(z), outlierSigmas)
		}
		squares[o.Step] += z * z
		readings[o.Step]++
	}
	least := 1.0
	for k := range squares {
		least = math.Min(least, chisquared.Tail(squares[k], readings[k]))
	}
	return math.Min(1, least*float64(max(steps, 1))) // 1 without readings
}

// leastReelPValue is that of one reel's two rails, beside what is stated and beside the other reels
// of its strip type.
func (e explanation) leastReelPValue() float64 {
	least := 1.0
	foil := map[int]float64{} // by reel: square of the residual of its foil prior
	first := len(e.Observations) + len(e.Model.Splits)
	for i, f := range e.Model.FoilPriors {
		if !e.Assumptions.NoFoilPrior[i] {
			foil[f.Reel] = e.Residuals[first+i] * e.Residuals[first+i]
		}
	}
	for i, rails := range e.Model.Reels {
		square, n := foil[i], 2
		if square > 0 {
			n++
		}
		for _, at := range rails {
			z := e.distance(at)
			square += z * z
		}
		least = math.Min(least, chisquared.Tail(square, n))
	}
	return math.Min(1, least*float64(max(len(e.Model.Reels), 1)))
}

// leastPriorPValue is that of one unknown with a narrow prior, and of one split between rails.
func (e explanation) leastPriorPValue() float64 {
	const splits = -1
	type family struct {
		largest float64
		n       int
	}
	families := map[model.Quantity]family{}
	add := func(q model.Quantity, z float64) {
		f := families[q]
		families[q] = family{math.Max(f.largest, math.Abs(z)), f.n + 1}
	}
	for i, u := range e.Model.Unknowns {
		if !u.WidePrior {
			add(u.What, e.distance(i))
		}
	}
	for i := range e.Model.Splits {
		add(splits, e.Residuals[len(e.Observations)+i])
	}
	least := 1.0
	for _, f := range families {
		least = math.Min(least, float64(f.n)*chisquared.Tail(f.largest*f.largest, 1))
	}
	return least
}

// distance returns how many standard deviations of its prior an unknown is from its mean.
func (e explanation) distance(unknown int) float64 {
	mean, deviation := e.Model.PriorOf(e.Assumptions, unknown)
	return (e.X[unknown] - mean) / deviation
}
