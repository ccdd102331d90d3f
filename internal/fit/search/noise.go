package search

import (
	"math"

	"ohmkeep/internal/fit/likelihood"
	"ohmkeep/internal/numeric/leastsquares"
	"ohmkeep/internal/numeric/matrix"
)

const (
	// robustTail is the freedom of Student's distribution with which scatter is learned while
	// wrong readings are still among the good ones.
	robustTail = 5.0
	// noiseRounds is how often scatter and resistances are fitted in turn at the most, and
	// sameNoise the change of the logarithm of a deviation that ends it.
	noiseRounds = 6
	sameNoise   = 0.05
)

// residuals sorts the readings in a fit by the groups that scatter alike.
func (h *hypothesis) residuals(fit *leastsquares.Fit) [][]likelihood.Residual {
	groups := make([][]likelihood.Residual, len(h.NoiseGroups))
	for i := range h.Observations {
		o := &h.Observations[i]
		if o.Excluded {
			continue
		}
		left := 1.0
		if fit.Covariance != nil {
			left = min(max(1-matrix.Quadratic(fit.Covariance, fit.Jacobian.Row(i)), 0), 1)
		}
		missed := fit.Residuals[i] * o.Deviation
		if h.Robust { // its residuals are softened; the problem still is where the fit ended
			missed = o.Value - h.Predicted[i]
		}
		groups[o.Group] = append(groups[o.Group], likelihood.Residual{Value: missed, Magnitude: math.Abs(o.Value), KnownVariance: o.RoundingVariance, Freedom: left})
	}
	return groups
}

// learned is the scatter that the residuals of a fit tell.
func (h *hypothesis) learned(fit *leastsquares.Fit, tail float64) []likelihood.Learned {
	noise := make([]likelihood.Learned, len(h.NoiseGroups))
	for g, list := range h.residuals(fit) {
		noise[g] = likelihood.Learn(list, h.NoiseGroups[g].Prior, tail)
	}
	return noise
}

// noisy fits the resistances and the scatter of the readings in turn until neither changes.
func (h *hypothesis) noisy(fit *leastsquares.Fit, tail float64) (*leastsquares.Fit, error) {
	for range noiseRounds {
		if !h.learn(fit, tail) {
			break
		}
		next, err := h.SolveLimited(fit.X, firstSteps)
		if err != nil {
			return nil, err
		}
		fit = next
	}
	return fit, nil
}

// learn takes over the scatter that the residuals of a fit tell, where it changes any reading's
// deviation by much; it reports whether it did. How well the scatter is known it keeps in either case.
func (h *hypothesis) learn(fit *leastsquares.Fit, tail float64) bool {
	if h.quiet {
		return false
	}
	noise := h.learned(fit, tail)
	changed := false
	for i := range h.Observations {
		o := &h.Observations[i]
		variance := noise[o.Group].Variance(o.RoundingVariance, o.Value)
		changed = changed || !o.Excluded && math.Abs(math.Log(variance)/2-math.Log(o.Deviation)) > sameNoise
	}
	if changed {
		h.SetNoise(noise)
		return true
	}
	for g := range noise {
		h.Noise[g].Covariance = noise[g].Covariance
	}
	return false
}

// cost is minus twice the logarithm of a fit's likelihood, with the scatter that explains its
// residuals best in place of the one that it was made with.
func (h *hypothesis) cost(fit *leastsquares.Fit) float64 {
	sum := fit.SumSquares
	for i := range h.Observations {
		if !h.Observations[i].Excluded {
			sum -= fit.Residuals[i] * fit.Residuals[i]
		}
	}
	for _, l := range h.learned(fit, 0) {
		sum += l.Cost
	}
	return sum
}
