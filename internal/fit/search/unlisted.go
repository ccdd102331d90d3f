package search

import (
	"math"
	"slices"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/numeric/leastsquares"
	"ohmkeep/internal/numeric/matrix"
	"ohmkeep/internal/numeric/parallel"
)

// unlistedCurrents returns explanations in which something that the run file does not list draws or
// feeds current at one reel. They are tried where the readings are not explained without.
func (e explanation) unlistedCurrents() []explanation {
	impossible := e.lowOdds() >= lowResistance/2
	if e.Covariance == nil || e.explained() && !impossible {
		return nil
	}
	byReel := make([][]explanation, len(e.Model.Reels))
	parallel.For(len(byReel), func(reel int) { byReel[reel] = e.unlistedAt(reel, impossible) })
	return slices.Concat(byReel...)
}

// unlistedAt returns those at one reel. Where some reel has less than any strip (impossible), they are
// fitted whatever the score of a few iterations is.
func (e explanation) unlistedAt(reel int, impossible bool) (list []explanation) {
	m, err := e.Model.WithUnlistedAt(reel)
	if err != nil {
		return nil
	}
	a := e.Assumptions.ExcludingOnly(nil)
	if impossible || e.mayHaveUnlisted(m, a, m.WithoutUnlisted(e.X), screeningIterations) {
		list = withUnlisted(m, a.Mistakes)
	}
	if len(a.Mistakes) == 0 && e.Assumptions.ExcludedCount() <= e.fewWrongReadings() {
		return list
	}
	a = m.Assume() // the unlisted currents may explain what mistakes do
	for _, start := range m.UnlistedStarts(a) {
		if e.mayHaveUnlisted(m, a, start, initialIterations) {
			return append(list, withUnlisted(m, nil)...)
		}
	}
	return list
}

// mayHaveUnlisted reports whether a few iterations with the unlisted currents of a model, and with all
// readings, come near the score of the explanation, which has none.
func (e explanation) mayHaveUnlisted(m *model.Model, a model.Assumptions, start []float64, iterations int) bool {
	fit, err := model.SolveLimited(m, a, start, iterations)
	if err != nil {
		return false
	}
	trial := explain(fit, nil)
	return trial.cost()+trial.unlistedOdds() < e.score()+maxAlternativeCost+unlistedMargin
}

// unlistedMargin is by how much the score may still fall after these iterations. Measured: of 30 feeds
// missing in the run file, the nearest reel of 26 came within 22 of the explanation without, of one within
// 68; each of 24 reels that are as stated (warm copper, pixels that differ by 4 %, noise of 1.2 counts)
// stayed 96 or more above it.
const unlistedMargin = 60.0

// withUnlisted returns the explanation by a model with unlisted currents and the given mistakes; nil
// where it cannot be fitted.
func withUnlisted(m *model.Model, mistakes []model.Mistake) []explanation {
	a := m.Assume()
	a.Mistakes = mistakes
	var best *model.Fit
	for _, start := range m.UnlistedStarts(a) {
		fit, err := model.SolveLimited(m, a, start, longIterations)
		if err == nil && (best == nil || fit.SumSquares < best.SumSquares) {
			best = fit
		}
	}
	if best == nil {
		return nil
	}
	e, err := explain(best, nil).withoutOutliers()
	if err != nil {
		return nil
	}
	return []explanation{e}
}

// unlistedOdds returns the prior odds of unlisted currents at one of a run's reels, and how far the
// readings narrow their priors: the logarithm of the ratio of the volumes (Laplace's approximation;
// Tierney and Kadane, J. Am. Stat. Assoc. 81 (1986) 82).
func (e explanation) unlistedOdds() float64 {
	var at []int
	for i, u := range e.Model.Unknowns {
		if u.What == model.UnlistedShare || u.What == model.StepUnlistedShare {
			at = append(at, i)
		}
	}
	if len(at) == 0 {
		return 0
	}
	odds := unlistedCurrent + 2*math.Log(float64(len(e.Model.Reels)))
	if e.Covariance == nil {
		return odds
	}
	n := len(at)
	relative := leastsquares.NewMatrix(n, n)
	for i, a := range at {
		for k, b := range at {
			relative.Row(i)[k] = e.Covariance.At(a, b) / (e.Model.Unknowns[a].Deviation * e.Model.Unknowns[b].Deviation)
		}
	}
	factor := matrix.Factor(relative)
	for i := range n {
		odds -= 2 * math.Log(math.Max(factor[i*n+i], 1e-12))
	}
	return odds
}
