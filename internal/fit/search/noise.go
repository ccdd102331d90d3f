package search

import (
	"math"

	"ohmkeep/internal/fit/likelihood"
	"ohmkeep/internal/numeric/chisquared"
	"ohmkeep/internal/numeric/leastsquares"
	"ohmkeep/internal/numeric/matrix"
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
func (h *hypothesis) residualsByGroup(fit *leastsquares.Fit) [][]likelihood.Residual {
	groups := make([][]likelihood.Residual, len(h.NoiseGroups))
	for i := range h.Observations {
		o := &h.Observations[i]
		if o.Excluded {
			continue
		}
		freedom := 1.0
		if fit.Covariance != nil {
			freedom = min(max(1-matrix.Quadratic(fit.Covariance, fit.Jacobian.Row(i)), 0), 1)
		}
		residual := fit.Residuals[i] * o.Deviation
		if h.Robust { // the residuals of a robust fit are transformed; the predictions are those of its last iteration
			residual = o.Value - h.Predicted[i]
		}
		groups[o.Group] = append(groups[o.Group], likelihood.Residual{Value: residual, Magnitude: math.Abs(o.Value), KnownVariance: o.RoundingVariance, Freedom: freedom})
	}
	return groups
}

// estimateNoise estimates the noise of each group from the residuals of a fit.
func (h *hypothesis) estimateNoise(fit *leastsquares.Fit, freedom float64) []likelihood.Learned {
	noise := make([]likelihood.Learned, len(h.NoiseGroups))
	for g, list := range h.residualsByGroup(fit) {
		noise[g] = likelihood.Learn(list, h.NoiseGroups[g].Prior, freedom)
	}
	return noise
}

// solveWithNoise fits resistances and noise in turn until neither changes.
func (h *hypothesis) solveWithNoise(fit *leastsquares.Fit, freedom float64) (*leastsquares.Fit, error) {
	for range maxNoiseRounds {
		if !h.updateNoise(fit, freedom) {
			break
		}
		next, err := h.SolveLimited(fit.X, initialIterations)
		if err != nil {
			return nil, err
		}
		fit = next
	}
	return fit, nil
}

// updateNoise takes the noise estimated from a fit where it changes the standard deviation of a
// reading by more than noiseTolerance, and reports whether it did. The uncertainty of the noise
// is updated in either case.
func (h *hypothesis) updateNoise(fit *leastsquares.Fit, freedom float64) bool {
	noise := h.estimateNoise(fit, freedom)
	changed := false
	for i := range h.Observations {
		o := &h.Observations[i]
		variance := noise[o.Group].Variance(o.RoundingVariance, o.Value)
		changed = changed || !o.Excluded && math.Abs(math.Log(variance)/2-math.Log(o.Deviation)) > noiseTolerance
	}
	if changed {
		h.SetNoise(noise)
		return true
	}
	for group := range noise {
		h.Noise[group].Covariance = noise[group].Covariance
	}
	return false
}

// cost returns minus twice the logarithm of a fit's likelihood, with the noise that fits its
// residuals best instead of the noise used in the fit.
func (h *hypothesis) cost(fit *leastsquares.Fit) float64 {
	sum := fit.SumSquares
	for i := range h.Observations {
		if !h.Observations[i].Excluded {
			sum -= fit.Residuals[i] * fit.Residuals[i]
		}
	}
	for _, l := range h.estimateNoise(fit, 0) {
		sum += l.Cost
	}
	return sum
}

// leastStepPValue is the least p-value of the readings of one step, times the number of steps
// (Bonferroni's correction); 1 where the fit has no covariance. Excluded readings count, except
// those with gross errors.
func (h *hypothesis) leastStepPValue(fit *leastsquares.Fit) float64 {
	if fit.Covariance == nil {
		return 1
	}
	squares, readings := make([]float64, h.ReadSteps), make([]int, h.ReadSteps)
	for i, o := range h.Observations {
		z := h.Standardised(i, fit)
		if o.ExcludedForGood || o.Excluded && math.Abs(z) > grossSigmas {
			continue
		}
		squares[o.Step] += z * z
		readings[o.Step]++
	}
	least := 1.0
	for k := range squares {
		least = math.Min(least, chisquared.Tail(squares[k], readings[k]))
	}
	return math.Min(1, least*float64(max(h.ReadSteps, 1))) // 1 without readings
}
