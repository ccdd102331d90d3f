package search

import (
	"math"
	"slices"

	"ohmkeep/internal/fit/likelihood"
	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/numeric/leastsquares"
)

const (
	// slipCharge is what a slip of the hand adds to an account: it is as rare as a wrong reading.
	slipCharge = suspectAt * suspectAt
	// slipGain is by how much a slip must lower the cost of a first fit to be looked at closely.
	slipGain = 25.0
	// mostSlips is how many slips are looked for.
	mostSlips = 2
	// oddLoad is how many deviations a step's current may differ from the other steps' before
	// another load is thought of.
	oddLoad = 3.0
)

// account is a fit with what it assumes: which readings are left out, how they scatter, which
// conductors are open and which slips were made.
type account struct {
	fit    *leastsquares.Fit
	cost   float64
	out    []bool
	noise  []likelihood.Learned
	parted []OpenConductor
	slips  []model.Mistake
}

// now is the account that the problem is set to.
func (h *hypothesis) now(fit *leastsquares.Fit) account {
	return account{fit, h.account(fit), h.marks(), slices.Clone(h.Noise), slices.Clone(h.parted), slices.Clone(h.slips)}
}

// set takes the assumptions of an account.
func (h *hypothesis) set(a account) {
	for _, c := range h.parted {
		h.release(c)
	}
	for i := len(h.slips) - 1; i >= 0; i-- {
		h.UndoCorrection(h.slips[i])
	}
	h.slips, h.parted = nil, nil
	for _, s := range a.slips {
		h.mend(s)
	}
	for _, c := range a.parted {
		h.hold(c)
		h.parted = append(h.parted, c)
	}
	h.setMarks(a.out)
	if a.noise != nil && !h.quiet {
		h.SetNoise(a.noise)
	}
}

func (h *hypothesis) mend(s model.Mistake) {
	h.Correct(s)
	h.slips = append(h.slips, s)
}

// withSlips looks for slips of the hand that explain the readings better than accounts
// without them do, given a fit to all readings and the one that explains most of them.
func (h *hypothesis) withSlips(first *leastsquares.Fit, plain account) (*leastsquares.Fit, account, error) {
	for range mostSlips {
		best, bestFirst := plain, first
		blank := account{noise: h.PriorNoise(), slips: plain.slips}
		h.set(blank)
		before := h.cost(first)
		for _, s := range h.PossibleMistakes() {
			h.set(blank)
			h.mend(s)
			fit, err := h.SolveLimited(h.Start(), fewSteps)
			if err != nil || h.cost(fit) > before-slipGain {
				continue
			}
			if !fit.Converged {
				if fit, err = h.SolveLimited(fit.X, firstSteps); err != nil {
					continue
				}
			}
			without, err := h.withoutSuspects(fit)
			if err != nil {
				continue
			}
			if a := h.now(without); a.cost < best.cost {
				best, bestFirst = a, fit
			}
		}
		h.set(best)
		if len(best.slips) == len(plain.slips) {
			break
		}
		first, plain = bestFirst, best
		if h.explained(plain.fit) {
			break
		}
	}
	return first, plain, nil
}

// explained reports whether an account needs no other: few wrong readings, and the others as
// near as they scatter, in loads that are about as stated.
func (h *hypothesis) explained(fit *leastsquares.Fit) bool {
	return h.leftOut() <= fewWrong && fit.Converged && h.PValue(fit) >= model.MinPValue && !h.oddLoads(fit)
}

// oddLoads reports whether a step draws far more or less than the others beside what is stated.
func (h *hypothesis) oddLoads(fit *leastsquares.Fit) bool {
	for i, u := range h.Unknowns {
		if u.What == model.StepCurrentScale && math.Abs(fit.X[i]) > oddLoad*u.Deviation {
			return true
		}
	}
	return false
}
