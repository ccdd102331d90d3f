package search

import (
	"math"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/numeric/leastsquares"
)

// A reading is excluded where it differs from the value predicted by the others by more than
// outlierSigmas standard deviations. Once worse outliers are excluded, it is readmitted below
// readmitSigmas. One good reading in 16,000 differs by more than four.
const (
	outlierSigmas = 4.0
	readmitSigmas = 3.5
)

// grossSigmas is the residual of a robust fit, in standard deviations, beyond which a reading is
// excluded before the others are examined.
const grossSigmas = 12.0

// withoutOutliers estimates the noise and excludes the readings that contradict the others: first
// those with gross errors in a robust fit, then the largest outlier, one at a time.
func (h *hypothesis) withoutOutliers(fit *leastsquares.Fit) (*leastsquares.Fit, error) {
	var err error
	if !fit.Converged || h.PValue(fit) < model.MinPValue {
		if fit, err = h.withoutGrossErrors(); err != nil {
			return nil, err
		}
	}
	for range len(h.Observations)/4 + 1 {
		if fit, err = h.solveWithNoise(fit, studentFreedom); err != nil {
			return nil, err
		}
		worst, at := h.largestResidual(fit)
		if worst <= outlierSigmas {
			break
		}
		h.Observations[at].Excluded = true
		if fit, err = h.Solve(fit.X); err != nil {
			return nil, err
		}
	}
	if fit, err = h.solveWithNoise(fit, 0); err != nil {
		return nil, err
	}
	return h.readmit(fit)
}

// largestResidual returns the largest difference of a reading from the value predicted by the
// others, in standard deviations, and the reading's index; −1 without readings.
func (h *hypothesis) largestResidual(fit *leastsquares.Fit) (z float64, at int) {
	at = -1
	for i := range h.Observations {
		if h.Observations[i].Excluded {
			continue
		}
		if now := math.Abs(h.Standardised(i, fit)); now > z {
			z, at = now, i
		}
	}
	return z, at
}

// withoutGrossErrors makes a robust fit and excludes the readings with residuals beyond
// grossSigmas.
func (h *hypothesis) withoutGrossErrors() (*leastsquares.Fit, error) {
	h.Robust = true
	defer func() { h.Robust = false }()
	robust, err := h.Solve(h.Start())
	if err != nil {
		return nil, err
	}
	for range robustRounds {
		if !h.updateNoise(robust, studentFreedom) {
			break
		}
		if robust, err = h.SolveLimited(robust.X, initialIterations); err != nil {
			return nil, err
		}
	}
	for i := range h.Observations {
		o := &h.Observations[i]
		o.Excluded = o.Excluded || math.Abs(o.Value-h.Predicted[i]) > grossSigmas*o.Deviation
	}
	h.Robust = false
	return h.Solve(robust.X)
}

// robustRounds is the largest number of times that a robust fit and its noise are computed in turn.
const robustRounds = 3

// readmit returns the excluded readings within readmitSigmas to the fit.
func (h *hypothesis) readmit(fit *leastsquares.Fit) (*leastsquares.Fit, error) {
	readmitted := false
	for i := range h.Observations {
		o := &h.Observations[i]
		if o.Excluded && !o.ExcludedForGood && math.Abs(h.Standardised(i, fit)) < readmitSigmas {
			o.Excluded = false
			readmitted = true
		}
	}
	if !readmitted {
		return fit, nil
	}
	return h.Solve(fit.X)
}
