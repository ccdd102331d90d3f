package search

import (
	"math"
	"slices"

	"ohmkeep/internal/fit/likelihood"
	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/numeric/leastsquares"
)

const (
	// mistakePenalty is added to the cost for an operator mistake, which is as rare as an outlier.
	mistakePenalty = outlierSigmas * outlierSigmas
	// minMistakeGain is how much a mistake must lower the cost of a first fit to be examined further.
	minMistakeGain = 25.0
	// maxMistakes is the largest number of mistakes in one set of readings.
	maxMistakes = 2
	// loadSigmas is the difference between a step's current and the other steps', in prior standard
	// deviations, above which another load is considered.
	loadSigmas = 3.0
)

// candidate is a fit with its assumptions: excluded readings, noise, open conductors and operator
// mistakes.
type candidate struct {
	fit      *leastsquares.Fit
	cost     float64
	excluded []bool
	noise    []likelihood.Learned
	open     []OpenConductor
	mistakes []model.Mistake
}

// candidate returns the present assumptions with a fit.
func (h *hypothesis) candidate(fit *leastsquares.Fit) candidate {
	return candidate{fit, h.penalisedCost(fit), h.exclusions(), slices.Clone(h.Noise), slices.Clone(h.open), slices.Clone(h.mistakes)}
}

// restore sets the assumptions of a candidate.
func (h *hypothesis) restore(a candidate) {
	for _, c := range h.open {
		h.release(c)
	}
	for i := len(h.mistakes) - 1; i >= 0; i-- {
		h.UndoCorrection(h.mistakes[i])
	}
	h.mistakes, h.open = nil, nil
	for _, s := range a.mistakes {
		h.correct(s)
	}
	for _, c := range a.open {
		h.holdOpen(c)
		h.open = append(h.open, c)
	}
	h.setExclusions(a.excluded)
	if a.noise != nil {
		h.SetNoise(a.noise)
	}
}

// correct corrects the readings affected by a mistake and records it.
func (h *hypothesis) correct(s model.Mistake) {
	h.Correct(s)
	h.mistakes = append(h.mistakes, s)
}

// withMistakes looks for operator mistakes that lower the cost. first is a fit to all readings,
// plain the best candidate without further mistakes.
func (h *hypothesis) withMistakes(first *leastsquares.Fit, plain candidate) (*leastsquares.Fit, candidate, error) {
	for range maxMistakes {
		best, bestFirst := plain, first
		initial := candidate{noise: h.PriorNoise(), mistakes: plain.mistakes}
		h.restore(initial)
		before := h.cost(first)
		for _, s := range h.PossibleMistakes() {
			h.restore(initial)
			h.correct(s)
			fit, err := h.SolveLimited(h.Start(), screeningIterations)
			if err != nil || h.cost(fit) > before-minMistakeGain {
				continue
			}
			if !fit.Converged {
				if fit, err = h.SolveLimited(fit.X, initialIterations); err != nil {
					continue
				}
			}
			without, err := h.withoutOutliers(fit)
			if err != nil {
				continue
			}
			if a := h.candidate(without); a.cost < best.cost {
				best, bestFirst = a, fit
			}
		}
		h.restore(best)
		if len(best.mistakes) == len(plain.mistakes) {
			break
		}
		first, plain = bestFirst, best
		if h.explained(plain.fit) {
			break
		}
	}
	return first, plain, nil
}

// explained reports whether no further explanation is needed: few outliers, a converged fit whose
// p-value is at least plausiblePValue, and loads about as stated.
func (h *hypothesis) explained(fit *leastsquares.Fit) bool {
	return h.excludedCount() <= h.fewWrongReadings() && fit.Converged && h.PValue(fit) >= plausiblePValue && !h.hasUnexpectedLoad(fit)
}

// hasUnexpectedLoad reports whether a step draws far more or less current than stated, compared
// with the other steps.
func (h *hypothesis) hasUnexpectedLoad(fit *leastsquares.Fit) bool {
	for i, u := range h.Unknowns {
		if u.What == model.StepCurrentScale && math.Abs(fit.X[i]) > loadSigmas*u.Deviation {
			return true
		}
	}
	return false
}
