package search

import (
	"slices"

	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/numeric/leastsquares"
)

// findExplanation finds the explanation of least penalised cost: outliers alone, outliers and
// open conductors, or operator mistakes with either. Open conductors are tried where a few
// outliers do not explain the readings, and each must lower the cost by minOpenGain
// (withOpenConductors). The penalties are the square of outlierSigmas for each excluded reading,
// openPenalty for each open conductor, mistakePenalty for each mistake, and minOpenGain for a fit
// that has not converged.
func (h *hypothesis) findExplanation(first *leastsquares.Fit) (*leastsquares.Fit, error) {
	fit, err := h.withoutOutliers(first)
	if err != nil {
		return nil, err
	}
	plain, explained := h.candidate(fit), h.explained(fit)
	if explained && len(h.openCandidates(fit)) == 0 {
		return fit, nil
	}
	if fit, err = h.withOpenIfBetter(first, plain); err != nil || explained {
		return fit, err
	}
	best := h.candidate(fit)
	h.restore(plain)
	first, corrected, err := h.withMistakes(first, plain)
	if err != nil {
		return nil, err
	}
	if len(corrected.mistakes) > 0 {
		if fit, err = h.withOpenIfBetter(first, corrected); err != nil {
			return nil, err
		}
		if corrected = h.candidate(fit); corrected.cost < best.cost {
			return fit, nil
		}
	}
	h.restore(best)
	return h.Solve(best.fit.X)
}

// withOpenIfBetter adds open conductors to a candidate where that lowers the penalised cost.
// first is a fit to all readings.
func (h *hypothesis) withOpenIfBetter(first *leastsquares.Fit, plain candidate) (*leastsquares.Fit, error) {
	clean := h.excludedCount() <= h.fewWrongReadings() && h.plausible(plain.fit)
	if clean && len(h.openCandidates(plain.fit)) == 0 {
		return plain.fit, nil
	}
	h.setExclusions(nil)
	if !clean {
		h.SetNoise(h.PriorNoise())
	}
	open := h.withOpenConductors(first)
	if len(h.open) == 0 {
		h.restore(plain)
		return plain.fit, nil
	}
	opened, err := h.withoutOutliers(open)
	if err == nil {
		opened = h.withoutNeedlessOpens(opened)
	}
	if err == nil && h.penalisedCost(opened) < plain.cost {
		return opened, nil
	}
	h.restore(plain)
	return h.Solve(plain.fit.X)
}

// withoutNeedlessOpens releases each open conductor where a sound one explains the readings about
// as well. A bad plus and an open minus may give the same readings, and a fit that starts at a
// sound joint finds only the open minus.
func (h *hypothesis) withoutNeedlessOpens(fit *leastsquares.Fit) *leastsquares.Fit {
	for i := 0; i < len(h.open); {
		c := h.open[i]
		h.release(c)
		near := append([]float64(nil), fit.X...)
		near[c.Unknown] = h.Unknowns[c.Unknown].Mean
		trial, err := h.Solve(near)
		if err == nil && trial.Converged && trial.X[c.Unknown] < prior.Transform(openCandidateOhms) && trial.SumSquares < fit.SumSquares+minOpenGain {
			h.open = slices.Delete(h.open, i, i+1)
			fit = trial
			continue
		}
		h.holdOpen(c)
		i++
	}
	return fit
}

// fewWrongReadings returns the number of outliers up to which no open conductor is suspected: two,
// or one in a hundred readings. An open conductor affects every reading behind it.
func (h *hypothesis) fewWrongReadings() int { return max(2, len(h.Observations)/100) }

// penalisedCost returns the cost plus the penalties of the present assumptions.
func (h *hypothesis) penalisedCost(fit *leastsquares.Fit) float64 {
	sum := h.cost(fit) + outlierSigmas*outlierSigmas*float64(h.excludedCount())
	sum += openPenalty*float64(len(h.open)) + mistakePenalty*float64(len(h.mistakes))
	if !fit.Converged {
		sum += minOpenGain
	}
	return sum
}

// excludedCount returns the number of readings excluded by the search.
func (h *hypothesis) excludedCount() int {
	n := 0
	for _, o := range h.Observations {
		if o.Excluded && !o.ExcludedForGood {
			n++
		}
	}
	return n
}

// exclusions returns which readings are excluded, by observation.
func (h *hypothesis) exclusions() []bool {
	out := make([]bool, len(h.Observations))
	for i, o := range h.Observations {
		out[i] = o.Excluded
	}
	return out
}

// setExclusions sets which readings are excluded, besides those excluded for good; nil excludes
// no others.
func (h *hypothesis) setExclusions(out []bool) {
	for i := range h.Observations {
		h.Observations[i].Excluded = out != nil && out[i] || h.Observations[i].ExcludedForGood
	}
}

// plausiblePValue is the p-value below which opens and mistakes are looked for though outliers
// alone could explain the readings: noise that is estimated from the residuals hides part of what
// does not fit.
const plausiblePValue = 0.05

// plausible reports whether a fit has converged and explains the readings of every step without
// open conductors. An open conductor contradicts most where most current flows, and the noise,
// estimated over all steps, hides that in the p-value of all readings.
func (h *hypothesis) plausible(fit *leastsquares.Fit) bool {
	return fit.Converged && h.PValue(fit) >= plausiblePValue && h.leastStepPValue(fit) >= plausiblePValue
}
