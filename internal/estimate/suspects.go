package estimate

import (
	"math"
	"slices"

	"ohmkeep/internal/leastsquares"
)

// A reading is left out where it lies further from what all the others say than
// suspectAt standard deviations, and taken back where it comes within readmitAt
// once the worse ones are gone. Four sigmas are one good reading in 16,000.
const (
	suspectAt = 4.0
	readmitAt = 3.5
)

// softFrom is the residual about which a robust fit ceases to count it by its square,
// and grossAt the one at which a reading is left out before the others are looked at
// closely.
const (
	softFrom = 5.0
	grossAt  = 12.0
)

// withoutSuspects refits without the readings that contradict the others: first
// those that a robust fit leaves far off, then the worst one of the rest, and so on.
func (h *hypothesis) withoutSuspects(fit *leastsquares.Fit) (*leastsquares.Fit, error) {
	if !fit.Converged || h.pValue(fit) < misfit {
		var err error
		if fit, err = h.withoutGross(fit); err != nil {
			return nil, err
		}
	}
	for range len(h.observations)/4 + 1 {
		worst, at := h.worst(fit)
		if worst <= suspectAt {
			break
		}
		h.observations[at].out = true
		next, err := h.solve(fit.X)
		if err != nil {
			return nil, err
		}
		fit = next
	}
	fit, err := h.readmit(fit)
	if err != nil {
		return nil, err
	}
	return h.withTheOne(fit), nil
}

// withTheOne looks for one reading in the place of several: of a joint's two readings the
// wrong one may stay and, having bent the fit to itself, drive out the good ones beside it.
// Each reading that shares a point with those left out is tried alone.
func (h *hypothesis) withTheOne(fit *leastsquares.Fit) *leastsquares.Fit {
	out := h.marks()
	if n := h.leftOut(); n < 2 || n > mostReplaced {
		return fit
	}
	best, account := out, h.account(fit)
	for i, o := range h.observations {
		if !slices.ContainsFunc(h.observations, func(x observation) bool { return x.out && !x.barred && o.beside(x) }) {
			continue
		}
		h.setMarks(nil)
		h.observations[i].out = true
		trial, err := h.solveWithin(h.start(), firstSteps)
		if err == nil && h.account(trial) < account && h.pValue(trial) >= misfit {
			fit, best, account = trial, h.marks(), h.account(trial)
		}
		h.setMarks(out)
	}
	h.setMarks(best)
	return fit
}

// mostReplaced is how many readings left out may be the work of one.
const mostReplaced = 4

// beside tells whether two readings share a point or a feed.
func (o observation) beside(x observation) bool {
	if o.feed != absent || x.feed != absent {
		return o.feed == x.feed
	}
	return o.from == x.from || o.from == x.to || o.to == x.from || o.to == x.to
}

// worst is the reading in the fit that lies furthest from what the others say.
func (h *hypothesis) worst(fit *leastsquares.Fit) (z float64, at int) {
	at = -1
	for i := range h.observations {
		if h.observations[i].out {
			continue
		}
		if now := math.Abs(h.standardised(i, fit)); now > z {
			z, at = now, i
		}
	}
	return z, at
}

// withoutGross fits robustly and leaves out what is far off then.
func (h *hypothesis) withoutGross(fit *leastsquares.Fit) (*leastsquares.Fit, error) {
	h.robust = true
	soft, err := h.solve(h.start())
	h.robust = false
	if err != nil {
		return nil, err
	}
	for i := range h.observations {
		o := &h.observations[i]
		o.out = o.out || math.Abs(soft.Residuals[i]) > softenedGross
	}
	return h.solve(soft.X)
}

// softenedGross is grossAt as soften shows it.
var softenedGross, _ = soften(grossAt, softFrom)

func (h *hypothesis) readmit(fit *leastsquares.Fit) (*leastsquares.Fit, error) {
	back := false
	for i := range h.observations {
		o := &h.observations[i]
		if o.out && !o.barred && math.Abs(h.standardised(i, fit)) < readmitAt {
			o.out = false
			back = true
		}
	}
	if !back {
		return fit, nil
	}
	return h.solve(fit.X)
}
