package search

import (
	"slices"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/numeric/leastsquares"
)

// explain finds what explains the readings best: wrong readings alone, or open
// conductors and wrong readings. Open conductors are looked for where few wrong
// readings do not explain enough, and must save openGain each (withOpens). Of the two
// accounts the one is taken whose sum of squares is less, each reading left out being
// charged the square of suspectAt, each open conductor openCharge and a fit that did
// not settle openGain.
func (h *hypothesis) explain(first *leastsquares.Fit) (*leastsquares.Fit, error) {
	fit, err := h.withoutSuspects(first)
	if err != nil {
		return nil, err
	}
	plain, explained := h.now(fit), h.explained(fit)
	if explained && len(h.partings(fit)) == 0 {
		return fit, nil
	}
	if fit, err = h.orOpen(first, plain); err != nil || explained {
		return fit, err
	}
	best := h.now(fit)
	h.set(plain)
	first, slipped, err := h.withSlips(first, plain)
	if err != nil {
		return nil, err
	}
	if len(slipped.slips) > 0 {
		if fit, err = h.orOpen(first, slipped); err != nil {
			return nil, err
		}
		if slipped = h.now(fit); slipped.cost < best.cost {
			return fit, nil
		}
	}
	h.set(best)
	return h.Solve(best.fit.X)
}

// orOpen finds whether open conductors explain the readings better than an account without,
// given a fit to all readings.
func (h *hypothesis) orOpen(first *leastsquares.Fit, plain account) (*leastsquares.Fit, error) {
	clean := h.leftOut() <= fewWrong && h.PValue(plain.fit) >= model.MinPValue && plain.fit.Converged
	if clean && len(h.partings(plain.fit)) == 0 {
		return plain.fit, nil
	}
	h.setMarks(nil)
	if !clean && !h.quiet {
		h.SetNoise(h.PriorNoise())
	}
	open := h.withOpens(first)
	if len(h.parted) == 0 {
		h.set(plain)
		return plain.fit, nil
	}
	opened, err := h.withoutSuspects(open)
	if err == nil {
		opened = h.closed(opened)
	}
	if err == nil && h.account(opened) < plain.cost {
		return opened, nil
	}
	h.set(plain)
	return h.Solve(plain.fit.X)
}

// closed takes back each conductor held open without which the readings are explained
// about as well, by one that is sound: a bad plus and a parted minus may show the same,
// and a fit that begins at a sound joint finds only the second of the two.
func (h *hypothesis) closed(fit *leastsquares.Fit) *leastsquares.Fit {
	for i := 0; i < len(h.parted); {
		c := h.parted[i]
		h.release(c)
		near := append([]float64(nil), fit.X...)
		near[c.Unknown] = h.Unknowns[c.Unknown].Mean
		trial, err := h.Solve(near)
		if err == nil && trial.Converged && trial.X[c.Unknown] < prior.Transform(openMaybe) && trial.SumSquares < fit.SumSquares+openGain {
			h.parted = slices.Delete(h.parted, i, i+1)
			fit = trial
			continue
		}
		h.hold(c)
		i++
	}
	return fit
}

// fewWrong is how many readings may be wrong before an open conductor is suspected
// instead, which is seen in every reading behind it.
const fewWrong = 2

// account is the cost with the charges of what was left out or opened.
func (h *hypothesis) account(fit *leastsquares.Fit) float64 {
	sum := h.cost(fit) + suspectAt*suspectAt*float64(h.leftOut())
	sum += openCharge*float64(len(h.parted)) + slipCharge*float64(len(h.slips))
	if !fit.Converged {
		sum += openGain
	}
	return sum
}

func (h *hypothesis) leftOut() int {
	n := 0
	for _, o := range h.Observations {
		if o.Excluded && !o.ExcludedForGood {
			n++
		}
	}
	return n
}

// marks and setMarks keep and restore which readings are left out; nil is none.
func (h *hypothesis) marks() []bool {
	out := make([]bool, len(h.Observations))
	for i, o := range h.Observations {
		out[i] = o.Excluded
	}
	return out
}

func (h *hypothesis) setMarks(out []bool) {
	for i := range h.Observations {
		h.Observations[i].Excluded = out != nil && out[i] || h.Observations[i].ExcludedForGood
	}
}
