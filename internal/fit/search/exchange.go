package search

import (
	"math"
	"slices"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/numeric/leastsquares"
	"ohmkeep/internal/numeric/matrix"
)

const (
	// maxAlternativeCost is how much the penalised cost of an alternative may exceed that of the best
	// explanation: a likelihood ratio of 90. Neither is then reported as certain.
	maxAlternativeCost = 9.0
	// maxReplaced is the largest number of excluded readings for which another reading is tried as
	// the wrong one.
	maxReplaced = 8
	// maxCheapProducts is the number of multiplications in one iteration up to which every reading is
	// tried.
	maxCheapProducts = 2_000_000
	// After screeningIterations a trial is dropped where its cost is still higher by
	// maxScreeningCost: the wrong reading is in the fit.
	screeningIterations = 5
	maxScreeningCost    = 1000.0
	// maxExtraOutliers is the largest number of further readings that an exchange may exclude.
	maxExtraOutliers = 2
)

// tryExchanges tests whether other readings than the excluded ones are wrong. Of two readings that
// contradict each other either may be wrong. Where a joint has several readings, the good ones may
// have been excluded because of a wrong one that stayed in the fit. Each reading that shares a
// point with excluded ones is excluded instead of them on trial. Explanations of nearly the same
// cost are kept as alternatives.
func (h *hypothesis) tryExchanges(fit *leastsquares.Fit) *leastsquares.Fit {
	h.alternatives = nil
	n := h.excludedCount()
	if n == 0 || n > maxReplaced || fit.Covariance == nil {
		return fit
	}
	type trial struct {
		fit      *leastsquares.Fit
		excluded []bool
		cost     float64
	}
	out := h.exclusions()
	best := trial{fit, out, h.penalisedCost(fit)}
	others := []trial{best}
	for i := range h.Observations {
		if !h.mayReplaceOutliers(i, fit) {
			continue
		}
		h.setExclusions(nil)
		for k, o := range h.Observations {
			h.Observations[k].Excluded = o.ExcludedForGood || k == i || out[k] && !sharesPoint(o, h.Observations[i])
		}
		if other := h.fitWithExclusions(best.cost); other != nil && h.PValue(other) >= model.MinPValue {
			t := trial{other, h.exclusions(), h.penalisedCost(other)}
			if others = append(others, t); t.cost < best.cost {
				best = t
			}
		}
		h.setExclusions(out)
	}
	h.setExclusions(best.excluded)
	for _, t := range others {
		if t.cost < best.cost+maxAlternativeCost && !slices.Equal(t.excluded, best.excluded) {
			h.alternatives = append(h.alternatives, Alternative{Excluded: t.excluded, DarkReel: model.Absent})
		}
	}
	return best.fit
}

// mayReplaceOutliers reports whether reading i, which is in the fit, may be wrong instead of the
// excluded readings that share a point with it. Where several readings are excluded it must share
// a point with two of them. Where one is excluded and a fit is expensive, the linear model must
// give a similar sum of squares with either one excluded.
func (h *hypothesis) mayReplaceOutliers(i int, fit *leastsquares.Fit) bool {
	if h.Observations[i].Excluded {
		return false
	}
	var near []int
	for k, o := range h.Observations {
		if o.Excluded && !o.ExcludedForGood && sharesPoint(o, h.Observations[i]) {
			near = append(near, k)
		}
	}
	if n := h.excludedCount(); n > 1 || len(near) == 0 {
		return len(near) >= 2
	}
	if n := len(fit.X); n*n*len(h.Observations) < maxCheapProducts {
		return true
	}
	// the residual of o with both readings excluded; its variance is 1 + g
	row := make([]float64, len(fit.X))
	o := &h.Observations[near[0]]
	predicted, err := h.Predict(o, fit.X, row)
	if err != nil {
		return false
	}
	residual := (o.Value - predicted) / o.Deviation
	for j := range row {
		row[j] /= -o.Deviation
	}
	own := fit.Jacobian.Row(i)
	along := matrix.Times(fit.Covariance, own)
	rest := 1 - matrix.Dot(own, along)
	if rest < 1e-9 {
		return false // no other reading determines this one, so none contradicts it
	}
	both := matrix.Dot(row, along)
	residual += both * fit.Residuals[i] / rest
	g := matrix.Quadratic(fit.Covariance, row) + both*both/rest
	with, without := residual*residual/(1+g), fit.Residuals[i]*fit.Residuals[i]/rest
	return with < 4*(without+maxAlternativeCost)
}

// fitWithExclusions fits from the values of the run file with the present exclusions, excludes up
// to maxExtraOutliers more, and readmits what agrees. It returns nil where a fit fails or the
// screening finds a cost far above bestCost.
func (h *hypothesis) fitWithExclusions(bestCost float64) *leastsquares.Fit {
	fit, err := h.SolveLimited(h.Start(), screeningIterations)
	if err != nil || h.penalisedCost(fit) > bestCost+maxScreeningCost {
		return nil
	}
	if !fit.Converged {
		fit, err = h.SolveLimited(fit.X, initialIterations)
	}
	for range maxExtraOutliers {
		if err != nil {
			return nil
		}
		worst, at := h.largestResidual(fit)
		if worst <= outlierSigmas || math.IsNaN(worst) {
			break
		}
		h.Observations[at].Excluded = true
		fit, err = h.Solve(fit.X)
	}
	if err == nil {
		fit, err = h.readmit(fit)
	}
	if err != nil {
		return nil
	}
	return fit
}

// sharesPoint reports whether two readings share a measuring point or a feed.
func sharesPoint(o, x model.Observation) bool {
	if o.Feed != model.Absent || x.Feed != model.Absent {
		return o.Feed == x.Feed
	}
	return o.From == x.From || o.From == x.To || o.To == x.From || o.To == x.To
}
