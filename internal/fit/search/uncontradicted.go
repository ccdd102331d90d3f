package search

import (
	"slices"

	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/numeric/matrix"
	"ohmkeep/internal/numeric/parallel"
)

// uncontradicted returns explanations in which a reading is wrong that no other one contradicts,
// because the resistances follow it: a supply's volts read too high make every feed behind it look bad.
// Two bad feeds are as rare as one wrong reading. Each is tried where the linear model gives a score
// near that of the best explanation.
func (e explanation) uncontradicted() (list []explanation) {
	most := e.elementOdds() + maxAlternativeCost
	if e.Covariance == nil || most < wrongReading {
		return nil
	}
	list = make([]explanation, len(e.Observations))
	parallel.For(len(list), func(i int) {
		if e.Observations[i].Excluded || e.costWithout(i) > maxAlternativeCost {
			return
		}
		other, err := e.solve(e.Assumptions.Excluding(i), e.X)
		if err == nil {
			other, err = other.solveWithNoise(0)
		}
		if err == nil {
			list[i] = other
		}
	})
	return slices.DeleteFunc(list, func(x explanation) bool { return x.Fit == nil })
}

// costWithout returns the change of the score when a reading is excluded, in the linear model: with
// the residual r and the leverage h the sum of squares falls by r²/(1 − h), and what is bad may be
// sound.
func (e explanation) costWithout(i int) float64 {
	row := e.Jacobian.Row(i)
	along := matrix.Times(e.Covariance, row)
	rest := 1 - matrix.Dot(row, along)
	if rest < 1e-12 {
		return wrongReading
	}
	cost := wrongReading - e.Residuals[i]*e.Residuals[i]/rest - e.elementOdds()
	x := make([]float64, len(e.X))
	for j := range x {
		x[j] = e.X[j] + along[j]*e.Residuals[i]/rest
	}
	for s, split := range e.Model.Splits {
		if !split.Transformed || e.isOpen(s) {
			continue
		}
		t, loop := prior.Loop(split.Rails, x)
		pull := matrix.Dot(loop, along)
		variance := matrix.Quadratic(e.Covariance, loop) + pull*pull/rest
		cost += e.oddsAt(s, t, func(value float64) float64 { return (t - value) * (t - value) / variance })
	}
	return cost
}
