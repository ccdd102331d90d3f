package search

import (
	"math"
	"slices"

	"ohmkeep/internal/fit/model"
)

// maxMistakes is the largest number of mistakes in one set of readings.
const maxMistakes = 2

// withMistakes returns explanations with operator mistakes, each with and without open conductors.
// first is a fit to all readings, plain the best explanation without mistakes.
func withMistakes(first, plain explanation) (list []explanation) {
	for range maxMistakes {
		best, bestFirst, least := plain, first, plain.score()
		for _, trial := range first.tryMistakes() {
			without, err := trial.withoutOutliers()
			if err != nil {
				continue
			}
			list = append(list, without)
			if score := without.score(); score < least {
				best, bestFirst, least = without, trial, score
			}
		}
		if best.Fit == plain.Fit {
			break
		}
		if opened, found := best.withOpens(bestFirst); found {
			list = append(list, opened)
		}
		if best.explained() {
			break
		}
		first, plain = bestFirst, best
	}
	return list
}

// tryMistakes fits all readings with each possible mistake besides. It returns those fits whose cost with
// the odds of the mistake is lower, but for those whose cost is higher than the least by maxScreeningCost.
func (e explanation) tryMistakes() (trials []explanation) {
	initial := e.Assumptions.ExcludingOnly(nil)
	initial.Noise = e.Model.PriorNoise()
	highest, least := e.cost(), math.Inf(1)
	for _, x := range e.Model.PossibleMistakes(initial) {
		if x.Kind == model.SwappedInStep { // two readings, which are outliers without it: see unnoticedMistakes
			continue
		}
		a := initial.Correcting(x)
		trial, err := e.solveLimited(a, e.Model.Start(a), screeningIterations)
		most := highest - e.mistakeOdds(x)
		if err != nil || trial.cost() > math.Min(most, least)+maxScreeningCost {
			continue
		}
		if !trial.Converged {
			trial, err = trial.solveLimited(a, trial.X, initialIterations)
		}
		if err != nil || trial.cost() > most {
			continue
		}
		trials = append(trials, trial)
		least = math.Min(least, trial.cost())
	}
	return slices.DeleteFunc(trials, func(trial explanation) bool { return trial.cost() > least+maxScreeningCost })
}
