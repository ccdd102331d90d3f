package search

import (
	"math"

	"ohmkeep/internal/fit/likelihood"
	"ohmkeep/internal/fit/model"
)

const (
	// studentFreedom is the degrees of freedom of the Student distribution used for the noise while
	// outliers may still be among the readings.
	studentFreedom = 5.0
	// maxNoiseRounds is the largest number of times that noise and resistances are fitted in turn.
	// This ends where the logarithm of no standard deviation changes by more than noiseTolerance.
	maxNoiseRounds = 6
	noiseTolerance = 0.05
)

// residualsByGroup returns the residuals of a fit by noise group.
func (e explanation) residualsByGroup() [][]likelihood.Residual {
	groups := make([][]likelihood.Residual, len(e.Model.NoiseGroups))
	for i := range e.Observations {
		o := &e.Observations[i]
		if o.Excluded {
			continue
		}
		freedom := min(max(1-e.Leverage(i), 0), 1)
		residual := e.Residuals[i] * o.Deviation
		if e.Assumptions.Robust { // its residuals are transformed
			residual = o.Value - e.Predicted[i]
		}
		groups[o.Group] = append(groups[o.Group], likelihood.Residual{Value: residual, Magnitude: math.Abs(o.Value), KnownVariance: o.RoundingVariance, Freedom: freedom})
	}
	return groups
}

// estimateNoise estimates the noise of each group from the residuals of a fit.
func (e explanation) estimateNoise(freedom float64) []likelihood.Learned {
	noise := make([]likelihood.Learned, len(e.Model.NoiseGroups))
	for g, list := range e.residualsByGroup() {
		noise[g] = likelihood.Learn(list, e.Model.NoiseGroups[g].Prior, freedom)
	}
	return noise
}

// solveWithNoise fits resistances and noise in turn until neither changes.
func (e explanation) solveWithNoise(freedom float64) (explanation, error) {
	for range maxNoiseRounds {
		noise, changed := e.learnNoise(freedom)
		if !changed {
			fit := *e.Fit
			fit.Assumptions = noise
			return explain(&fit, e.open), nil
		}
		next, err := e.solveLimited(noise, e.X, initialIterations)
		if err != nil {
			return e, err
		}
		e = next
	}
	return e, nil
}

// learnNoise returns the assumptions with the noise estimated from the fit, and whether that
// changes the standard deviation of a reading by more than noiseTolerance. If not, only the
// uncertainty of the noise is new.
func (e explanation) learnNoise(freedom float64) (a model.Assumptions, changed bool) {
	a = e.Assumptions
	noise := e.estimateNoise(freedom)
	for _, o := range e.Observations {
		variance := noise[o.Group].Variance(o.RoundingVariance, o.Value)
		changed = changed || !o.Excluded && math.Abs(math.Log(variance)/2-math.Log(o.Deviation)) > noiseTolerance
	}
	for g := range noise {
		if !changed {
			noise[g].Scatter, noise[g].Cost = a.Noise[g].Scatter, a.Noise[g].Cost
		}
	}
	a.Noise = noise
	return a, changed
}

// cost returns minus twice the logarithm of a fit's likelihood, with the noise that fits its
// residuals best instead of the noise used in the fit.
func (e explanation) cost() float64 {
	sum := e.SumSquares
	for i := range e.Observations {
		if !e.Observations[i].Excluded {
			sum -= e.Residuals[i] * e.Residuals[i]
			sum += min(max(1-e.Leverage(i), 0), 1) * e.Model.RoughCost(&e.Observations[i])
		}
	}
	for _, l := range e.estimateNoise(0) {
		sum += l.Cost
	}
	return sum
}
