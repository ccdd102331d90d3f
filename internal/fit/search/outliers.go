package search

import (
	"math"
	"slices"

	"ohmkeep/internal/fit/model"
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

// withoutOutliers estimates the noise, and excludes the readings that contradict the others where that
// lowers the score. A fault of the run makes the readings beside it look like outliers until it is
// fitted: without them it cannot be seen.
func (e explanation) withoutOutliers() (explanation, error) {
	without, err := e.excludingOutliers()
	if err != nil || without.Assumptions.ExcludedCount() <= e.Assumptions.ExcludedCount() {
		return without, err
	}
	with, err := e.solveWithNoise(0)
	if err == nil && with.score() < without.score() {
		return with, nil
	}
	return without, nil
}

// excludingOutliers estimates the noise and excludes outliers: first those with gross errors in a
// robust fit, then the largest one, one at a time.
func (e explanation) excludingOutliers() (explanation, error) {
	var err error
	if !e.Converged || e.PValue() < model.MinPValue {
		if e, err = e.withoutGrossErrors(); err != nil {
			return e, err
		}
	}
	for range len(e.Observations)/4 + 1 {
		if e, err = e.solveWithNoise(studentFreedom); err != nil {
			return e, err
		}
		worst, at := e.largestResidual()
		if worst <= outlierSigmas {
			break
		}
		if e, err = e.solve(e.Assumptions.Excluding(at), e.X); err != nil {
			return e, err
		}
	}
	if e, err = e.solveWithNoise(0); err != nil {
		return e, err
	}
	return e.readmit()
}

// largestResidual returns the largest difference of a reading from the value predicted by the
// others, in standard deviations, and the reading's index; −1 without readings.
func (e explanation) largestResidual() (z float64, at int) {
	at = -1
	for i := range e.Observations {
		if e.Observations[i].Excluded {
			continue
		}
		if now := math.Abs(e.Standardised(i)); now > z {
			z, at = now, i
		}
	}
	return z, at
}

// withoutGrossErrors makes a robust fit and excludes the readings with residuals beyond
// grossSigmas.
func (e explanation) withoutGrossErrors() (explanation, error) {
	a := e.Assumptions
	a.Robust = true
	robust, err := e.solve(a, e.Model.Start(a))
	if err != nil {
		return e, err
	}
	for range robustRounds {
		noise, changed := robust.learnNoise(studentFreedom)
		if !changed {
			break
		}
		if robust, err = robust.solveLimited(noise, robust.X, initialIterations); err != nil {
			return e, err
		}
	}
	out := slices.Clone(a.Excluded)
	for i, o := range robust.Observations {
		out[i] = out[i] || math.Abs(o.Value-robust.Predicted[i]) > grossSigmas*o.Deviation
	}
	a = robust.Assumptions.ExcludingOnly(out)
	a.Robust = false
	return e.solve(a, robust.X)
}

// robustRounds is the largest number of times that a robust fit and its noise are computed in turn.
const robustRounds = 3

// readmit returns the excluded readings within readmitSigmas to the fit.
func (e explanation) readmit() (explanation, error) {
	out := slices.Clone(e.Assumptions.Excluded)
	for i, o := range e.Observations {
		if o.Excluded && !o.ExcludedForGood && math.Abs(e.Standardised(i)) < readmitSigmas {
			out[i] = false
		}
	}
	if slices.Equal(out, e.Assumptions.Excluded) {
		return e, nil
	}
	return e.solve(e.Assumptions.ExcludingOnly(out), e.X)
}
