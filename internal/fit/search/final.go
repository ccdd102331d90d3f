package search

import (
	"ohmkeep/internal/fit/model"
)

// finalFit makes the final fit of an explanation. It removes the foil priors of reels without
// readings (withoutFoilPriorsOfUnread). A fit that does not converge is continued by solveLonger.
func (e explanation) finalFit() explanation {
	if l, removed := e.withoutFoilPriorsOfUnread(); removed {
		if refit, err := e.solve(l.Assumptions, l.X); err == nil {
			e = refit
		}
	}
	return e.solveLonger()
}

// solveLonger continues a fit that has not converged: with more iterations, then from the values
// of the run file.
func (e explanation) solveLonger() explanation {
	best := e
	for _, start := range [][]float64{e.X, e.Model.Start(e.Assumptions)} {
		if best.Converged {
			break
		}
		other, err := e.solveLimited(e.Assumptions, start, longIterations)
		if err == nil && (other.SumSquares < best.SumSquares || other.Converged && other.SumSquares < best.SumSquares+notConverged) {
			best = other
		}
	}
	return best
}

// initialIterations is enough for a fit to readings without gross errors. With gross errors the fit
// need not converge.
const initialIterations = 15

// withoutFoilPriorsOfUnread returns the linear model without the foil priors of reels that their own
// readings do not determine, and whether there are any. Such a reel may be from another production
// batch, and that must not change the estimate of the joint beside it.
func (e explanation) withoutFoilPriorsOfUnread() (l model.Linear, removed bool) {
	l = e.Linear()
	if e.Covariance == nil {
		return l, false
	}
	row := make([]float64, len(e.X))
	var unread []int
	for i, a := range e.Model.FoilPriors {
		clear(row)
		row[a.Rails[0]], row[a.Rails[1]] = 1, 1
		if !l.DeterminedWithoutFoilPrior(a.Reel, row) {
			unread = append(unread, i)
		}
	}
	for _, i := range unread {
		if own, ok := l.WithoutFoilPrior(e.Model.FoilPriors[i].Reel); ok {
			l = own
		} else { // only the priors determine it
			l.Assumptions = l.Assumptions.WithoutFoilPrior(i)
		}
	}
	return l, unread != nil
}

// longIterations is the limit for a fit that a verdict depends on and that has not converged.
const longIterations = 400
