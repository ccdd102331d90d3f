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
// feeds current at one reel. They are tried where the readings are not explained without, or only by
// what is rare: an element above its limit, an operator mistake, pixels that draw much more or less than
// stated.
func (e explanation) unlistedCurrents() []explanation {
	impossible := e.lowOdds() >= lowResistance/2
	usual := e.explained() && e.elementOdds() == 0 && len(e.Assumptions.Mistakes) == 0 && math.Abs(e.drawnPart()-1) < unusualCurrent
	if e.Covariance == nil || usual && !impossible {
		return nil
	}
	trials := make([][]unlistedTrial, unlistedKinds*len(e.Model.Reels))
	parallel.For(len(trials), func(i int) {
		trials[i] = e.tryUnlistedAt(i/unlistedKinds, model.Unlisted(i%unlistedKinds), impossible)
	})
	tried := slices.Concat(trials...)
	most := math.Inf(1)
	for _, t := range tried {
		most = math.Min(most, t.cost+maxScreeningCost)
	}
	if !impossible {
		most = math.Min(most, e.score()+maxAlternativeCost)
	}
	tried = slices.DeleteFunc(tried, func(t unlistedTrial) bool { return t.cost > most })
	list := make([][]explanation, len(tried))
	parallel.For(len(tried), func(i int) { list[i] = tried[i].explanations() })
	return slices.Concat(list...)
}

// unusualCurrent is the difference of the pixels' current from what is stated, as a part of it, from
// which something unlisted may carry the rest.
const unusualCurrent = 0.1

// unlistedKinds is the number of kinds of unlisted currents.
const unlistedKinds = 2

// unlistedTrial is a first fit with unlisted currents.
type unlistedTrial struct {
	model    *model.Model
	mistakes []model.Mistake
	cost     float64 // with the odds of the unlisted currents
}

// tryUnlistedAt makes first fits with unlisted currents at a reel and all readings: with the
// mistakes of the explanation, and without any, where the unlisted currents may explain what mistakes,
// outliers or impossible resistances do.
func (e explanation) tryUnlistedAt(reel int, how model.Unlisted, impossible bool) (trials []unlistedTrial) {
	m, err := e.Model.WithUnlistedAt(reel, how)
	if err != nil {
		return nil
	}
	try := func(a model.Assumptions, iterations int, starts ...[]float64) {
		least := math.Inf(1)
		for _, start := range starts {
			if fit, err := model.SolveLimited(m, a, start, iterations); err == nil {
				trial := explain(fit, nil)
				least = math.Min(least, trial.cost()+trial.unlistedOdds())
			}
		}
		if !math.IsInf(least, 1) {
			trials = append(trials, unlistedTrial{m, a.Mistakes, least})
		}
	}
	a := e.Assumptions.ExcludingOnly(nil)
	try(a, screeningIterations, m.WithoutUnlisted(e.X))
	if len(a.Mistakes) > 0 || impossible || !e.explained() {
		a = m.Assume()
		try(a, initialIterations, m.UnlistedStarts(a)...)
	}
	return trials
}

// explanations returns the explanation by the unlisted currents of a trial; nil where it cannot be
// fitted.
func (t unlistedTrial) explanations() []explanation {
	a := t.model.Assume()
	a.Mistakes = t.mistakes
	var best explanation
	for _, start := range t.model.UnlistedStarts(a) {
		fit, err := model.SolveLimited(t.model, a, start, initialIterations)
		if err == nil && (best.Fit == nil || fit.SumSquares < best.SumSquares) {
			best = explain(fit, nil)
		}
	}
	if best.Fit == nil {
		return nil
	}
	e, err := best.solveLonger().withoutOutliers()
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
