package search

import (
	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/numeric/leastsquares"
)

// hasNegativeConductor reports whether a fit has a conductor below −maxNegativeOhms. Such a fit
// says little about physical resistances.
func (h *hypothesis) hasNegativeConductor(fit *leastsquares.Fit) bool {
	for _, j := range h.BoundedConductors() {
		if fit.X[j] < -maxNegativeOhms {
			return true
		}
	}
	return false
}

// maxNegativeOhms, Ω, is how far below zero a sound joint may be estimated. Errors of the
// readings cause a milliohm or two.
const maxNegativeOhms = 0.005

// solveBounded fits with no conductor below zero, from the first start that converges. The
// covariance is that of the fit without bounds, since a conductor at its bound is not known to be
// exactly zero. It returns nil where no start converges.
func (h *hypothesis) solveBounded(starts ...[]float64) *leastsquares.Fit {
	for _, start := range starts {
		fit, err := h.SolveBounded(h.ClampToZero(start), h.Options(longIterations))
		if err != nil || !fit.Converged {
			continue
		}
		if fit, err = leastsquares.At(h, fit.X, h.Prior()); err == nil {
			fit.Converged = true
			return fit
		}
	}
	return nil
}

// finalFit makes the final fit of an explanation. It removes the foil priors of reels without
// readings (removeFoilPriorsOfUnread). Where a conductor is far below zero, where derivatives are
// not exact (see ChainRule), it fits with bounds. A fit that does not converge is continued by
// solveLonger.
func (h *hypothesis) finalFit(fit *leastsquares.Fit) *leastsquares.Fit {
	h.bounded = false
	start := h.removeFoilPriorsOfUnread(fit)
	if h.hasNegativeConductor(fit) {
		if boundedFit := h.boundedIfAsGood(fit, start); boundedFit != nil {
			return boundedFit
		}
	}
	if start != nil {
		if refit, err := h.Solve(start); err == nil {
			fit = refit
		}
	}
	return h.solveLonger(fit)
}

// solveLonger continues a fit that has not converged: with more iterations, then from the values
// of the run file. If neither converges, or a conductor is far below zero, it takes a fit with
// bounds.
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
	if best.Converged && !h.hasNegativeConductor(best) {
		return best
	}
	if other := h.boundedIfAsGood(best, nil); other != nil {
		return other
	}
	return best
}

// boundedIfAsGood fits with no conductor below zero. It returns nil where that fit does not
// converge or its sum of squares is larger than that of fit by minOpenGain.
func (h *hypothesis) boundedIfAsGood(fit *leastsquares.Fit, start []float64) *leastsquares.Fit {
	if start == nil {
		start = fit.X
	}
	if other := h.solveBounded(start, h.Start()); other != nil && other.SumSquares < fit.SumSquares+minOpenGain {
		h.bounded = true
		return other
	}
	return nil
}

// initialIterations is enough for readings without gross errors. With gross errors a close fit is
// of no use.
const initialIterations = 15

// removeFoilPriorsOfUnread removes the foil priors of reels that their own readings do not
// determine. Such a reel may be of another stock, and that must not change the estimate of the
// joint beside it. It returns a start for the fit without these priors; nil where none was
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
