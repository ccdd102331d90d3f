package search

import (
	"math"
	"slices"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/numeric/matrix"
)

// swappedFeeds returns explanations in which the currents of two feeds were exchanged, although the
// readings are explained without that: where two currents differ by a tenth, the resistances of
// feeds and reels take up most of the contradiction.
func (e explanation) swappedFeeds() (list []explanation) {
	if e.Covariance == nil || len(e.Assumptions.Mistakes) > 0 {
		return nil
	}
	odds := e.elementOdds() // with the currents exchanged, what is bad may be sound
	for _, x := range e.Model.PossibleMistakes(e.Assumptions) {
		if x.Kind != model.FeedsSwapped || e.costOfSwap(x)+e.mistakeOdds(x) > odds+maxAlternativeCost {
			continue
		}
		other, err := e.solve(e.Assumptions.Correcting(x), e.X)
		if err == nil {
			other, err = other.solveWithNoise(0)
		}
		if err == nil {
			list = append(list, other)
		}
	}
	return list
}

// costOfSwap returns the change of the least sum of squares when the currents of two feeds change
// places, in the linear model: with residuals r that change by d it is 2·rᵀd + dᵀ·(1 − J·C·Jᵀ)·d. It
// is +Inf where a step has not one reading of each that are in the fit.
func (e explanation) costOfSwap(x model.Mistake) float64 {
	var at []int
	var change []float64
	for i, o := range e.Observations {
		if o.Feed != x.A || o.Excluded {
			continue
		}
		k := slices.IndexFunc(e.Observations, func(y model.Observation) bool {
			return y.Feed == x.B && y.Step == o.Step && !y.Excluded
		})
		if k < 0 {
			return math.Inf(1)
		}
		y := &e.Observations[k]
		at = append(at, i, k)
		change = append(change, (y.Value-o.Value)/o.Deviation, (o.Value-y.Value)/y.Deviation)
	}
	along := make([]float64, len(e.X)) // Jᵀ·d
	sum := 0.0
	for n, i := range at {
		sum += change[n] * (2*e.Residuals[i] + change[n])
		for j, d := range e.Jacobian.Row(i) {
			along[j] += d * change[n]
		}
	}
	return sum - matrix.Quadratic(e.Covariance, along)
}
