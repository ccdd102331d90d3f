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
// feeds current at one reel. They are tried where the readings are not explained without, and in a run
// of cheap fits also where they are explained by mistakes, open conductors, copper that no strip has, or
// pixels that draw much more or less than stated.
func (e explanation) unlistedCurrents() []explanation {
	cheap, explained := e.isCheap(), e.explained()
	current := math.Abs(e.drawnPart()-1) > unusualCurrent
	impossible := e.lowOdds() >= unlistedCurrent
	mistaken := len(e.Assumptions.Mistakes)+len(e.open) > 0 || e.lowOdds() > 0
	if e.Covariance == nil || explained && !(cheap && (current || mistaken)) {
		return nil
	}
	rare := e.elementOdds()+e.highCopperOdds() >= badElement
	fresh := 0 // iterations of first fits that do not start at the explanation
	switch {
	case impossible || cheap && !explained || len(e.Assumptions.Mistakes) > 0:
		fresh = initialIterations
	case cheap && (mistaken || rare):
		fresh = screeningIterations
	}
	trials := make([][]explanation, unlistedKinds*len(e.Model.Reels))
	parallel.For(len(trials), func(i int) {
		trials[i] = e.tryUnlistedAt(i/unlistedKinds, model.Unlisted(i%unlistedKinds), fresh)
	})
	tried := slices.Concat(trials...)
	least := math.Inf(1)
	for _, x := range tried {
		least = math.Min(least, x.costWithUnlisted())
	}
	most := least + maxScreeningCost
	if !impossible {
		most = math.Min(most, e.score()+maxAlternativeCost)
	}
	found := make([]explanation, len(tried))
	parallel.For(len(tried), func(i int) {
		if tried[i].costWithUnlisted() > most {
			return
		}
		if x, err := tried[i].solveLonger().withoutOutliers(); err == nil {
			found[i] = x
		}
	})
	return slices.DeleteFunc(found, func(x explanation) bool { return x.Fit == nil })
}

// unusualCurrent is the difference of the pixels' current from what is stated, as a part of it, from
// which something unlisted may carry the rest.
const unusualCurrent = 0.1

// unlistedKinds is the number of kinds of unlisted currents.
const unlistedKinds = 4

// tryUnlistedAt makes first fits with unlisted currents at a reel and all readings: one with what else
// the explanation assumes, from its values, and the best of those without, since the unlisted currents
// may explain that; fresh is how many iterations these have, 0 for none.
func (e explanation) tryUnlistedAt(reel int, how model.Unlisted, fresh int) (trials []explanation) {
	m, err := e.Model.WithUnlistedAt(reel, how)
	if err != nil {
		return nil
	}
	if fit, err := model.SolveLimited(m, e.Assumptions.ExcludingOnly(nil), m.WithoutUnlisted(e.X), screeningIterations); err == nil {
		trials = append(trials, explain(fit, nil))
	}
	if fresh == 0 {
		return trials
	}
	var best *model.Fit
	a := m.Assume()
	for _, start := range m.UnlistedStarts(a) {
		if fit, err := model.SolveLimited(m, a, start, fresh); err == nil && (best == nil || fit.SumSquares < best.SumSquares) {
			best = fit
		}
	}
	if best != nil {
		trials = append(trials, explain(best, nil))
	}
	return trials
}

// costWithUnlisted returns the cost with the odds of the unlisted currents, without those of anything
// else: a fit of few iterations has not settled what else is rare.
func (e explanation) costWithUnlisted() float64 { return e.cost() + e.unlistedOdds() }

// unlistedOdds returns the prior odds of unlisted currents at one of a run's reels, and how far the
// readings narrow their priors: the logarithm of the ratio of the volumes (Laplace's approximation;
// Tierney and Kadane, J. Am. Stat. Assoc. 81 (1986) 82).
func (e explanation) unlistedOdds() float64 {
	var at []int
	for i, u := range e.Model.Unknowns {
		if u.What == model.UnlistedShare || u.What == model.StepUnlistedScale {
			at = append(at, i)
		}
	}
	if len(at) == 0 {
		return 0
	}
	odds := unlistedCurrent + 2*math.Log(float64(unlistedKinds*len(e.Model.Reels)))
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
