package search

import (
	"slices"

	"ohmkeep/internal/fit/prior"
)

// findExplanation finds the explanation of least penalised cost: outliers alone, outliers and
// open conductors, or operator mistakes with either. Open conductors are tried where a few
// outliers do not explain the readings, and each must lower the cost by minOpenGain
// (withOpenConductors). The penalties are the square of outlierSigmas for each excluded reading,
// openPenalty for each open conductor, mistakePenalty for each mistake, and minOpenGain for a fit
// that has not converged. first is a fit to all readings.
func findExplanation(first explanation) (explanation, error) {
	plain, err := first.withoutOutliers()
	if err != nil {
		return plain, err
	}
	explained := plain.explained()
	if explained && len(plain.openCandidates()) == 0 {
		return plain, nil
	}
	best, err := plain.withOpenIfBetter(first)
	if err != nil || explained {
		return best, err
	}
	first, corrected, err := withMistakes(first, plain)
	if err != nil {
		return best, err
	}
	if len(corrected.Assumptions.Mistakes) > 0 {
		if corrected, err = corrected.withOpenIfBetter(first); err != nil {
			return best, err
		}
		if corrected.penalisedCost() < best.penalisedCost() {
			return corrected, nil
		}
	}
	return best, nil
}

// withOpenIfBetter adds open conductors to an explanation where that lowers the penalised cost.
// first is a fit to all readings with the same mistakes corrected.
func (e explanation) withOpenIfBetter(first explanation) (explanation, error) {
	clean := e.Assumptions.ExcludedCount() <= e.fewWrongReadings() && e.plausible()
	if clean && len(e.openCandidates()) == 0 {
		return e, nil
	}
	if clean { // then the noise is known
		var err error
		a := first.Assumptions
		a.Noise = e.Assumptions.Noise
		if first, err = first.solve(a, e.X); err != nil {
			return e, err
		}
	}
	opened := first.withOpenConductors()
	if len(opened.open) == 0 {
		return e, nil
	}
	opened, err := opened.withoutOutliers()
	if err != nil {
		return e, nil
	}
	if opened = opened.withoutNeedlessOpens(); opened.penalisedCost() < e.penalisedCost() {
		return opened, nil
	}
	return e, nil
}

// withoutNeedlessOpens releases each open conductor where a sound one explains the readings about
// as well. A bad plus and an open minus may give the same readings, and a fit that starts at a
// sound joint finds only the open minus.
func (e explanation) withoutNeedlessOpens() explanation {
	for i := 0; i < len(e.open); {
		c := e.open[i]
		near := slices.Clone(e.X)
		near[c.Unknown] = e.Model.Unknowns[c.Unknown].Mean
		trial, err := e.solve(e.Assumptions.Releasing(c.Unknown), near)
		if err == nil && trial.Converged && trial.X[c.Unknown] < prior.Transform(openCandidateOhms) && trial.SumSquares < e.SumSquares+minOpenGain {
			trial.open = slices.Delete(slices.Clone(e.open), i, i+1)
			e = trial
			continue
		}
		i++
	}
	return e
}

// fewWrongReadings returns the number of outliers up to which no open conductor is suspected: two,
// or one in a hundred readings. An open conductor affects every reading behind it.
func (e explanation) fewWrongReadings() int { return max(2, len(e.Observations)/100) }

// penalisedCost returns the cost plus the penalties of the assumptions.
func (e explanation) penalisedCost() float64 {
	sum := e.cost() + outlierSigmas*outlierSigmas*float64(e.Assumptions.ExcludedCount())
	sum += openPenalty*float64(len(e.open)) + mistakePenalty*float64(len(e.Assumptions.Mistakes))
	if !e.Converged {
		sum += minOpenGain
	}
	return sum
}

// plausiblePValue is the p-value below which opens and mistakes are looked for though outliers
// alone could explain the readings: noise that is estimated from the residuals hides part of what
// does not fit.
const plausiblePValue = 0.05

// plausible reports whether a fit has converged and explains the readings of every step without
// open conductors. An open conductor contradicts most where most current flows, and the noise,
// estimated over all steps, hides that in the p-value of all readings.
func (e explanation) plausible() bool {
	return e.Converged && e.PValue() >= plausiblePValue && e.leastStepPValue() >= plausiblePValue
}
