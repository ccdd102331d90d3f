package search

import (
	"math"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/numeric/leastsquares"
)

// A reading is left out where it lies further from what all the others say than
// suspectAt standard deviations, and taken back where it comes within readmitAt
// once the worse ones are gone. Four sigmas are one good reading in 16,000.
const (
	suspectAt = 4.0
	readmitAt = 3.5
)

// grossAt is the residual in a robust fit at which a reading is left out before the others
// are looked at closely.
const grossAt = 12.0

// withoutSuspects learns how far the readings scatter and refits without those that contradict
// the others: first those that a robust fit leaves far off, then the worst one of the rest, and
// so on.
func (h *hypothesis) withoutSuspects(fit *leastsquares.Fit) (*leastsquares.Fit, error) {
	var err error
	if !fit.Converged || h.PValue(fit) < model.MinPValue {
		if fit, err = h.withoutGross(); err != nil {
			return nil, err
		}
	}
	for range len(h.Observations)/4 + 1 {
		if fit, err = h.noisy(fit, robustTail); err != nil {
			return nil, err
		}
		worst, at := h.worst(fit)
		if worst <= suspectAt {
			break
		}
		h.Observations[at].Excluded = true
		if fit, err = h.Solve(fit.X); err != nil {
			return nil, err
		}
	}
	if fit, err = h.noisy(fit, 0); err != nil {
		return nil, err
	}
	return h.readmit(fit)
}

// worst is the reading in the fit that lies furthest from what the others say.
func (h *hypothesis) worst(fit *leastsquares.Fit) (z float64, at int) {
	at = -1
	for i := range h.Observations {
		if h.Observations[i].Excluded {
			continue
		}
		if now := math.Abs(h.Standardised(i, fit)); now > z {
			z, at = now, i
		}
	}
	return z, at
}

// withoutGross fits robustly, with the scatter that most readings have, and leaves out what is
// far off then.
func (h *hypothesis) withoutGross() (*leastsquares.Fit, error) {
	h.Robust = true
	defer func() { h.Robust = false }()
	soft, err := h.Solve(h.Start())
	if err != nil {
		return nil, err
	}
	for range grossRounds {
		if !h.learn(soft, robustTail) {
			break
		}
		if soft, err = h.SolveLimited(soft.X, firstSteps); err != nil {
			return nil, err
		}
	}
	for i := range h.Observations {
		o := &h.Observations[i]
		o.Excluded = o.Excluded || math.Abs(o.Value-h.Predicted[i]) > grossAt*o.Deviation
	}
	h.Robust = false
	return h.Solve(soft.X)
}

// grossRounds is how often a robust fit and the scatter of its residuals are fitted in turn.
const grossRounds = 3

func (h *hypothesis) readmit(fit *leastsquares.Fit) (*leastsquares.Fit, error) {
	back := false
	for i := range h.Observations {
		o := &h.Observations[i]
		if o.Excluded && !o.ExcludedForGood && math.Abs(h.Standardised(i, fit)) < readmitAt {
			o.Excluded = false
			back = true
		}
	}
	if !back {
		return fit, nil
	}
	return h.Solve(fit.X)
}
