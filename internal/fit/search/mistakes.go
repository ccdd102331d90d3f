package search

import "ohmkeep/internal/fit/model"

// maxMistakes is the largest number of mistakes in one set of readings.
const maxMistakes = 2

// withMistakes returns explanations with operator mistakes, each with and without open conductors.
// first is a fit to all readings, plain the best explanation without mistakes.
func withMistakes(first, plain explanation) (list []explanation) {
	for range maxMistakes {
		best, bestFirst, least := plain, first, plain.score()
		initial := first.Assumptions.ExcludingOnly(nil)
		initial.Noise = first.Model.PriorNoise()
		highest := first.cost()
		for _, x := range first.Model.PossibleMistakes(initial) {
			if x.Kind == model.SwappedInStep { // two readings, which are outliers without it: see unnoticedMistakes
				continue
			}
			a := initial.Correcting(x)
			trial, err := first.solveLimited(a, first.Model.Start(a), screeningIterations)
			most := highest - first.mistakeOdds(x)
			if err != nil || trial.cost() > most+maxScreeningCost {
				continue
			}
			if !trial.Converged {
				trial, err = trial.solveLimited(a, trial.X, initialIterations)
			}
			if err != nil || trial.cost() > most {
				continue
			}
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
