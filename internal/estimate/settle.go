package estimate

import "ohmkeep/internal/leastsquares"

// farBelow tells whether a fit has a conductor so far below nothing that it says little of
// what a run with none has.
func (p *problem) farBelow(fit *leastsquares.Fit) bool {
	for _, j := range p.behind() {
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
func (p *problem) settledWithin(starts ...[]float64) *leastsquares.Fit {
	for _, start := range starts {
		fit, err := p.walled(p.raised(start), p.options(patientSteps))
		if err != nil || !fit.Converged {
			continue
		}
		if fit, err = leastsquares.At(p, fit.X, p.prior()); err == nil {
			fit.Converged = true
			return fit
		}
	}
	return nil
}

// last makes the last fit of an account: without holding unread reels to be like the
// others (unlike), and between walls at zero where a conductor came out far below nothing,
// where derivatives are not exact (see chain). One that does not settle gets other chances
// (patiently).
func (p *problem) last(fit *leastsquares.Fit) *leastsquares.Fit {
	start := p.unlike(fit)
	if p.farBelow(fit) {
		if within := p.walledFrom(fit, start); within != nil {
			return within
		}
	}
	if start != nil {
		if again, err := p.solve(start); err == nil {
			fit = again
		}
	}
	return p.patiently(fit)
}

// patiently gives a fit that did not settle other chances: more steps from where it is, and
// the run file's own figures as a start. Where that does not settle either, or a conductor
// comes out far below nothing, one between walls is taken.
func (p *problem) patiently(fit *leastsquares.Fit) *leastsquares.Fit {
	best := fit
	for _, start := range [][]float64{fit.X, p.start()} {
		if best.Converged {
			break
		}
		other, err := p.solveWithin(start, patientSteps)
		if err == nil && (other.SumSquares < best.SumSquares || other.Converged && other.SumSquares < best.SumSquares+openGain) {
			best = other
		}
	}
	if best.Converged && !p.farBelow(best) {
		return best
	}
	if other := p.walledFrom(best, nil); other != nil {
		return other
	}
	return best
}

// walledFrom is a fit between walls, unless it explains the readings worse than another fit
// by an open conductor's worth; nil where it does, or none settles.
func (p *problem) walledFrom(fit *leastsquares.Fit, start []float64) *leastsquares.Fit {
	if start == nil {
		start = fit.X
	}
	if other := p.settledWithin(start, p.start()); other != nil && other.SumSquares < fit.SumSquares+openGain {
		return other
	}
	return nil
}

// firstSteps is enough where no reading is grossly wrong; where one is, there is no
// use in fitting it well.
const firstSteps = 15
