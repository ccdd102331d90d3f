package search

import (
	"math"

	"ohmkeep/internal/fit/model"
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

// withMistakes looks for operator mistakes that lower the cost. first is a fit to all readings,
// plain the best explanation without mistakes. It returns both with the mistakes corrected.
func withMistakes(first, plain explanation) (explanation, explanation, error) {
	for range maxMistakes {
		best, bestFirst := plain, first
		initial := first.Assumptions.ExcludingOnly(nil)
		initial.Noise = first.Model.PriorNoise()
		highest := first.cost() - minMistakeGain
		for _, x := range first.Model.PossibleMistakes(initial) {
			a := initial.Correcting(x)
			trial, err := first.solveLimited(a, first.Model.Start(a), screeningIterations)
			if err != nil || trial.cost() > highest {
				continue
			}
			if !trial.Converged {
				if trial, err = trial.solveLimited(a, trial.X, initialIterations); err != nil {
					continue
				}
			}
			without, err := trial.withoutOutliers()
			if err == nil && without.penalisedCost() < best.penalisedCost() {
				best, bestFirst = without, trial
			}
		}
		if best.Fit == plain.Fit {
			break
		}
		first, plain = bestFirst, best
		if plain.explained() {
			break
		}
	}
	return first, plain, nil
}

// explained reports whether no further explanation is needed: few outliers, a converged fit whose
// p-value is at least plausiblePValue, and loads about as stated.
func (e explanation) explained() bool {
	return e.Assumptions.ExcludedCount() <= e.fewWrongReadings() && e.Converged && e.PValue() >= plausiblePValue && !e.hasUnexpectedLoad()
}

// hasUnexpectedLoad reports whether a step draws far more or less current than stated, compared
// with the other steps.
func (e explanation) hasUnexpectedLoad() bool {
	for i, u := range e.Model.Unknowns {
		if u.What == model.StepCurrentScale && math.Abs(e.X[i]) > loadSigmas*u.Deviation {
			return true
		}
	}
	return false
}
