package search

import (
	"math"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/fit/prior"
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

// withoutSuspects refits without the readings that contradict the others: first
// those that a robust fit leaves far off, then the worst one of the rest, and so on.
func (h *hypothesis) withoutSuspects(fit *leastsquares.Fit) (*leastsquares.Fit, error) {
	if !fit.Converged || h.PValue(fit) < model.Misfit {
		var err error
		if fit, err = h.withoutGross(fit); err != nil {
			return nil, err
		}
	}
	for range len(h.Observations)/4 + 1 {
		worst, at := h.worst(fit)
		if worst <= suspectAt {
			break
		}
		h.Observations[at].Out = true
		next, err := h.Solve(fit.X)
		if err != nil {
			return nil, err
		}
		fit = next
	}
	return h.readmit(fit)
}

// worst is the reading in the fit that lies furthest from what the others say.
func (h *hypothesis) worst(fit *leastsquares.Fit) (z float64, at int) {
	at = -1
	for i := range h.Observations {
		if h.Observations[i].Out {
			continue
		}
		if now := math.Abs(h.Standardised(i, fit)); now > z {
			z, at = now, i
		}
	}
	return z, at
}

// withoutGross fits robustly and leaves out what is far off then.
func (h *hypothesis) withoutGross(fit *leastsquares.Fit) (*leastsquares.Fit, error) {
	h.Robust = true
	soft, err := h.Solve(h.Start())
	h.Robust = false
	if err != nil {
		return nil, err
	}
	for i := range h.Observations {
		o := &h.Observations[i]
		o.Out = o.Out || math.Abs(soft.Residuals[i]) > softenedGross
	}
	return h.Solve(soft.X)
}

// softenedGross is grossAt as soften shows it.
var softenedGross, _ = prior.Soften(grossAt, model.SoftFrom)

func (h *hypothesis) readmit(fit *leastsquares.Fit) (*leastsquares.Fit, error) {
	back := false
	for i := range h.Observations {
		o := &h.Observations[i]
		if o.Out && !o.Barred && math.Abs(h.Standardised(i, fit)) < readmitAt {
			o.Out = false
			back = true
		}
	}
	if !back {
		return fit, nil
	}
	return h.Solve(fit.X)
}
