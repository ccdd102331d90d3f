// Package search looks for what explains readings best: which of them are wrong, which
// conductors are open, which reels are of another stock, which slips of the hand concern
// several readings at once; and fits the rest, with the scatter that its residuals tell.
// Hypotheses are compared by their cost, minus twice the logarithm of the restricted
// likelihood, each with the scatter that explains its own residuals best; each assumption is
// charged for.
package search

import (
	"ohmkeep/internal/fit/likelihood"
	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/numeric/leastsquares"
)

// hypothesis is a problem with what is assumed of it: which readings are wrong, which
// conductors open, which reels not like the others.
type hypothesis struct {
	*model.Problem
	parted []OpenConductor
	slips  []model.Mistake // of the hand, that readings were mended by
	rivals [][]bool        // readings left out in accounts that are nearly as good
	within bool            // the last fit is one between walls
	quiet  bool            // how far readings scatter is given, and not learned
}

// Outcome is the account that explains the readings best.
type Outcome struct {
	Fit *leastsquares.Fit
	// ChiSquared and Freedom are how well the readings are explained with their digits as
	// guessed; the fit has them as they turned out.
	ChiSquared       float64
	DegreesOfFreedom int
	Open             []OpenConductor
	Mistakes         []model.Mistake // of the hand, that the readings were mended by
	Alternatives     [][]bool        // by observation: left out in another account that explains about as much
}

// Best finds the account that explains a problem's readings best, and leaves the problem as
// that has it: readings marked as left out, conductors held open, the scatter of readings
// learned, and settled at its fit. The error says that the network could not be solved even
// as the run file states it.
func Best(p *model.Problem) (*Outcome, error) {
	return (&hypothesis{Problem: p}).best()
}

// BestAt is Best with readings that scatter as given, by group.
func BestWithNoise(p *model.Problem, noise []likelihood.Learned) (*Outcome, error) {
	p.SetNoise(noise)
	return (&hypothesis{Problem: p, quiet: true}).best()
}

func (h *hypothesis) best() (*Outcome, error) {
	fit, err := h.SolveLimited(h.Start(), firstSteps)
	if err != nil {
		return nil, err
	}
	if fit, err = h.explain(fit); err != nil {
		return nil, err
	}
	fit = h.last(h.exchanged(fit))
	fit = h.reconsidered(fit)
	squares, freedom := h.ChiSquared(fit), h.DegreesOfFreedom(fit)
	for i, c := range h.parted {
		h.parted[i].LowerBound = h.excluded(c, fit)
	}
	// Other accounts were tried since: bring states and predictions back to this one.
	if err := h.Evaluate(fit.X, make([]float64, len(fit.Residuals)), nil); err != nil {
		return nil, err
	}
	return &Outcome{Fit: fit, ChiSquared: squares, DegreesOfFreedom: freedom, Open: h.parted, Mistakes: h.slips, Alternatives: h.rivals}, nil
}

// reconsidered takes readings back that agree with the last fit, if it explains them.
func (h *hypothesis) reconsidered(fit *leastsquares.Fit) *leastsquares.Fit {
	for range 2 {
		out, most := h.marks(), h.account(fit)+1
		back, err := h.readmit(fit)
		if err == nil && back == fit {
			break
		}
		if err == nil {
			back = h.patiently(back)
		}
		if err != nil || h.account(back) > most {
			h.setMarks(out)
			break
		}
		fit = back
	}
	return fit
}

// BestWithout is Best with some readings, by their places among the observations, left out
// for good; it looks for no rivals.
func BestWithout(p *model.Problem, out []bool) (*Outcome, error) {
	for i := range p.Observations {
		o := &p.Observations[i]
		o.Excluded, o.ExcludedForGood = o.Excluded || out[i], o.ExcludedForGood || out[i]
	}
	outcome, err := Best(p)
	if err != nil {
		return nil, err
	}
	outcome.Alternatives = nil
	return outcome, nil
}
