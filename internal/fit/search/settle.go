package search

import (
	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/numeric/leastsquares"
)

// farBelow tells whether a fit has a conductor so far below nothing that it says little of
// what a run with none has.
func (h *hypothesis) farBelow(fit *leastsquares.Fit) bool {
	for _, j := range h.BoundedConductors() {
		if fit.X[j] < -far {
			return true
		}
	}
	return false
}

// far is Ω; what readings are off by takes sound joints down to a milliohm or two.
const far = 0.005

// settledWithin is a fit between walls from the first of some starts from which it settles, with
// the covariance that it has without them: a conductor at its wall is not known to be
// there. It is nil where it settles from none.
func (h *hypothesis) settledWithin(starts ...[]float64) *leastsquares.Fit {
	for _, start := range starts {
		fit, err := h.SolveBounded(h.ClampToZero(start), h.Options(patientSteps))
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

// last makes the last fit of an account: without holding unread reels to be like the
// others (unlike), and between walls at zero where a conductor came out far below nothing,
// where derivatives are not exact (see Chain). One that does not settle gets other chances
// (patiently).
func (h *hypothesis) last(fit *leastsquares.Fit) *leastsquares.Fit {
	h.within = false
	start := h.unlike(fit)
	if h.farBelow(fit) {
		if within := h.walledFrom(fit, start); within != nil {
			return within
		}
	}
	if start != nil {
		if again, err := h.Solve(start); err == nil {
			fit = again
		}
	}
	return h.patiently(fit)
}

// patiently gives a fit that did not settle other chances: more steps from where it is, and
// the run file's own figures as a start. Where that does not settle either, or a conductor
// comes out far below nothing, one between walls is taken.
func (h *hypothesis) patiently(fit *leastsquares.Fit) *leastsquares.Fit {
	best := fit
	for _, start := range [][]float64{fit.X, h.Start()} {
		if best.Converged {
			break
		}
		other, err := h.SolveLimited(start, patientSteps)
		if err == nil && (other.SumSquares < best.SumSquares || other.Converged && other.SumSquares < best.SumSquares+openGain) {
			best = other
		}
	}
	if best.Converged && !h.farBelow(best) {
		return best
	}
	if other := h.walledFrom(best, nil); other != nil {
		return other
	}
	return best
}

// walledFrom is a fit between walls, unless it explains the readings worse than another fit
// by an open conductor's worth; nil where it does, or none settles.
func (h *hypothesis) walledFrom(fit *leastsquares.Fit, start []float64) *leastsquares.Fit {
	if start == nil {
		start = fit.X
	}
	if other := h.settledWithin(start, h.Start()); other != nil && other.SumSquares < fit.SumSquares+openGain {
		h.within = true
		return other
	}
	return nil
}

// firstSteps is enough where no reading is grossly wrong; where one is, there is no
// use in fitting it well.
const firstSteps = 15

// unlike leaves out what is known from their foil of those reels that their own readings
// tell nothing of: one of them may be of another stock, and a joint beside it must not pay
// for that. It gives where a fit without that knowledge may begin; nil where nothing was
// left out.
func (h *hypothesis) unlike(fit *leastsquares.Fit) (start []float64) {
	if fit.Covariance == nil {
		return nil
	}
	l := h.LinearAt(fit)
	row := make([]float64, len(fit.X))
	var unread []*prior.FoilPrior
	for i, a := range h.FoilPriors {
		clear(row)
		row[a.Rails[0]], row[a.Rails[1]] = 1, 1
		alone, done, _ := l.WithoutFoilPrior(a.Reel)
		done()
		if !alone.Determined(row) {
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

// patientSteps are for a fit on which a verdict hangs and which has not settled.
const patientSteps = 400
