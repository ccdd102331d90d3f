package estimate

import "ohmkeep/internal/leastsquares"

// hypothesis is a problem with what is assumed of it: which readings are wrong, which
// conductors open, which reels not like the others.
type hypothesis struct {
	*problem
	parted []parting
}

// Outcome is the account that explains the readings best.
type Outcome struct {
	Fit  *leastsquares.Fit
	Open []parting
}

// best finds the account that explains a problem's readings best, and leaves the problem as
// that has it: readings marked as left out, conductors held open, and settled at its fit. The
// error tells that the network could not be solved even as the run file states it.
func best(p *problem) (*Outcome, error) {
	h := &hypothesis{problem: p}
	fit, err := h.solveWithin(h.start(), firstSteps)
	if err != nil {
		return nil, err
	}
	if fit, err = h.explain(fit); err != nil {
		return nil, err
	}
	fit = h.last(fit)
	for i, c := range h.parted {
		h.parted[i].excluded = h.excluded(c, fit)
	}
	// Other accounts were tried since: bring states and predictions back to this one.
	if err := h.Evaluate(fit.X, make([]float64, len(fit.Residuals)), nil); err != nil {
		return nil, err
	}
	return &Outcome{Fit: fit, Open: h.parted}, nil
}
