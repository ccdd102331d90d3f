package search

import (
	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/numeric/leastsquares"
)

// finalFit makes the final fit of an explanation. It removes the foil priors of reels without
// readings (removeFoilPriorsOfUnread). A fit that does not converge is continued by solveLonger.
func (h *hypothesis) finalFit(fit *leastsquares.Fit) *leastsquares.Fit {
	if start := h.removeFoilPriorsOfUnread(fit); start != nil {
		if refit, err := h.Solve(start); err == nil {
			fit = refit
		}
	}
	return h.solveLonger(fit)
}

// solveLonger continues a fit that has not converged: with more iterations, then from the values
// of the run file.
func (h *hypothesis) solveLonger(fit *leastsquares.Fit) *leastsquares.Fit {
	best := fit
	for _, start := range [][]float64{fit.X, h.Start()} {
		if best.Converged {
			break
		}
		other, err := h.SolveLimited(start, longIterations)
		if err == nil && (other.SumSquares < best.SumSquares || other.Converged && other.SumSquares < best.SumSquares+minOpenGain) {
			best = other
		}
	}
	return best
}

// initialIterations is enough for a fit to readings without gross errors. With gross errors the fit
// need not converge.
const initialIterations = 15

// removeFoilPriorsOfUnread removes the foil priors of reels that their own readings do not
// determine. Such a reel may be from another production batch, and that must not change the
// estimate of the joint beside it. It returns a start for the fit without these priors; nil where none was
// removed.
func (h *hypothesis) removeFoilPriorsOfUnread(fit *leastsquares.Fit) (start []float64) {
	if fit.Covariance == nil {
		return nil
	}
	l := h.LinearAt(fit)
	row := make([]float64, len(fit.X))
	var unread []*prior.FoilPrior
	for i, a := range h.FoilPriors {
		clear(row)
		row[a.Rails[0]], row[a.Rails[1]] = 1, 1
		own, done, _ := l.WithoutFoilPrior(a.Reel)
		done()
		if !own.Determined(row) {
			unread = append(unread, &h.FoilPriors[i])
		}
	}
	if unread == nil {
		return nil
	}
	l = l.Clone()
	for _, a := range unread {
		l.RemoveFoilPrior(a)
		a.Disabled = true
	}
	return l.X
}

// longIterations is the limit for a fit that a verdict depends on and that has not converged.
const longIterations = 400
