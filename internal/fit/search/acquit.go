package search

import (
	"cmp"
	"math"
	"slices"

	"ohmkeep/internal/numeric/parallel"
)

// minAccusation is the least difference of the score by which a reading is called wrong: that must be
// 20 times as probable as that it is right. A good reading four standard deviations from the others is
// not rare among some hundred.
const minAccusation = 6.0

// acquit returns the excluded readings to the fit, the nearest first, and estimates the noise again. It
// returns the explanation with the most of them whose score is not higher by more than minAccusation.
func (e explanation) acquit() explanation {
	var doubtful []int
	for i, o := range e.Observations {
		if o.Excluded && !o.ExcludedForGood && math.Abs(e.Standardised(i)) < grossSigmas {
			doubtful = append(doubtful, i)
		}
	}
	slices.SortStableFunc(doubtful, func(a, b int) int {
		return cmp.Compare(math.Abs(e.Standardised(a)), math.Abs(e.Standardised(b)))
	})
	doubtful = doubtful[:min(len(doubtful), maxReplaced)]
	trials := make([]explanation, len(doubtful))
	parallel.For(len(doubtful), func(n int) {
		out := slices.Clone(e.Assumptions.Excluded)
		for _, i := range doubtful[:n+1] {
			out[i] = false
		}
		trial, err := e.solve(e.Assumptions.ExcludingOnly(out), e.X)
		if err == nil {
			trial, err = trial.solveWithNoise(0)
		}
		if err == nil && trial.Converged && trial.score() < e.score()+minAccusation {
			trials[n] = trial
		}
	})
	for _, trial := range slices.Backward(trials) {
		if trial.Fit != nil {
			return trial
		}
	}
	return e
}

// accusesMore reports whether two explanations differ only in that one excludes readings that the other
// does not.
func (e explanation) accusesMore(than explanation) bool {
	same, other := e.Assumptions, than.Assumptions
	for i, out := range other.Excluded {
		if out && !same.Excluded[i] {
			return false
		}
	}
	return e.sameModel(than) && same.DarkReel == other.DarkReel && same.OtherStock == other.OtherStock && slices.Equal(same.Mistakes, other.Mistakes)
}
