package search

import (
	"math"
	"slices"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/numeric/matrix"
)

const (
	// maxReplaced is the largest number of excluded readings for which another reading is tried as
	// the wrong one.
	maxReplaced = 8
	// maxCheapProducts is the number of multiplications in one iteration up to which every reading is
	// tried, and what is rare.
	maxCheapProducts = 2_400_000
	// After screeningIterations a trial is dropped where its cost is still higher by
	// maxScreeningCost: the wrong reading is in the fit.
	screeningIterations = 7
	maxScreeningCost    = 1000.0
	// maxExtraOutliers is the largest number of further readings that an exchange may exclude.
	maxExtraOutliers = 2
)

// exchanges returns explanations in which other readings than the excluded ones are wrong. Of two
// readings that contradict each other either may be wrong. Where a joint has several readings, the
// good ones may have been excluded because of a wrong one that stayed in the fit. Each reading that
// shares a point with excluded ones is excluded instead of them on trial.
func (e explanation) exchanges() (list []explanation) {
	n := e.Assumptions.ExcludedCount()
	if n == 0 || n > maxReplaced || e.Covariance == nil {
		return nil
	}
	best := e.score()
	for i := range e.Observations {
		if !e.mayReplaceOutliers(i) {
			continue
		}
		out := make([]bool, len(e.Observations))
		for k, o := range e.Observations {
			out[k] = k == i || o.Excluded && !o.ExcludedForGood && !sharesPoint(o, e.Observations[i])
		}
		other, ok := e.fitExcluding(out, best)
		if ok && other.cost() < best+maxAlternativeCost { // no odds lower the score below the cost
			list = append(list, other)
			best = math.Min(best, other.score())
		}
	}
	return list
}

// mayReplaceOutliers reports whether reading i, which is in the fit, may be wrong instead of the
// excluded readings that share a point with it. Where several readings are excluded it must share
// a point with two of them. Where one is excluded and a fit is expensive, the linear model must
// give a similar sum of squares with either one excluded.
func (e explanation) mayReplaceOutliers(i int) bool {
	if e.Observations[i].Excluded {
		return false
	}
	var near []int
	for k, o := range e.Observations {
		if o.Excluded && !o.ExcludedForGood && sharesPoint(o, e.Observations[i]) {
			near = append(near, k)
		}
	}
	if n := e.Assumptions.ExcludedCount(); n > 1 || len(near) == 0 {
		return len(near) >= 2
	}
	if e.isCheap() {
		return true
	}
	// the residual of o with both readings excluded; its variance is 1 + g
	o := &e.Observations[near[0]]
	row := slices.Clone(e.ExcludedRow(near[0]))
	residual := (o.Value - e.Predicted[near[0]]) / o.Deviation
	for j := range row {
		row[j] /= -o.Deviation
	}
	own := e.Jacobian.Row(i)
	along := matrix.Times(e.Covariance, own)
	rest := 1 - matrix.Dot(own, along)
	if rest < 1e-9 {
		return false // no other reading determines this one, so none contradicts it
	}
	both := matrix.Dot(row, along)
	residual += both * e.Residuals[i] / rest
	g := matrix.Quadratic(e.Covariance, row) + both*both/rest
	with, without := residual*residual/(1+g), e.Residuals[i]*e.Residuals[i]/rest
	return with < 4*(without+maxAlternativeCost)
}

// isCheap reports whether a fit takes little time.
func (e explanation) isCheap() bool { return len(e.X)*len(e.X)*len(e.Observations) < maxCheapProducts }

// fitExcluding fits from the values of the run file with some readings excluded, excludes up to
// maxExtraOutliers more, and readmits what agrees. A fit that does not converge, as beside a bad joint
// that only the readmitted readings show, is made again from a robust one. ok is false where a fit
// fails or the screening finds a cost far above bestScore.
func (e explanation) fitExcluding(out []bool, bestScore float64) (other explanation, ok bool) {
	a := e.Assumptions.ExcludingOnly(out)
	other, err := e.solveLimited(a, e.Model.Start(a), screeningIterations)
	if err != nil || other.cost() > bestScore+maxScreeningCost {
		return other, false
	}
	if !other.Converged {
		other, err = other.solveLimited(a, other.X, initialIterations)
	}
	if err == nil && !other.Converged {
		other, err = other.withoutGrossErrors()
	}
	for range maxExtraOutliers {
		if err != nil {
			return other, false
		}
		worst, at := other.largestResidual()
		if worst <= outlierSigmas || math.IsNaN(worst) {
			break
		}
		other, err = other.solve(other.Assumptions.Excluding(at), other.X)
	}
	if err == nil {
		other, err = other.readmit()
	}
	return other, err == nil
}

// sharesPoint reports whether two readings share a measuring point or a feed.
func sharesPoint(o, x model.Observation) bool {
	if o.Feed != model.Absent || x.Feed != model.Absent {
		return o.Feed == x.Feed
	}
	return o.From == x.From || o.From == x.To || o.To == x.From || o.To == x.To
}
