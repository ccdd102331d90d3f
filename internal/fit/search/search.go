// Package search finds the explanation that fits the readings of a run best: which readings are
// outliers, which conductors are open, which operator mistakes affect several readings at once.
// It fits the network to the remaining readings and estimates their noise from the residuals.
//
// Explanations are compared by cost: minus twice the logarithm of the restricted likelihood, with
// the noise that fits the residuals best. Each assumption adds a penalty to the cost.
package search

import (
	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/numeric/leastsquares"
)

// hypothesis is a problem with the assumptions of the present explanation: excluded readings,
// open conductors and operator mistakes. The search changes it in place.
type hypothesis struct {
	*model.Problem
	open         []OpenConductor
	mistakes     []model.Mistake // operator mistakes, corrected in the readings
	alternatives []Alternative   // explanations of nearly the same cost
}

// Outcome is the explanation that fits the readings best.
type Outcome struct {
	Fit *leastsquares.Fit
	// ChiSquared and DegreesOfFreedom use the noise estimated in the search.
	ChiSquared       float64
	DegreesOfFreedom int
	Open             []OpenConductor
	Mistakes         []model.Mistake // operator mistakes, corrected in the readings
	Alternatives     []Alternative   // explanations of nearly the same cost
}

// Best finds the explanation that fits the readings of a problem best. It leaves the problem in
// that state: outliers excluded, open conductors held, noise estimated, network solved at the
// fit. It returns an error where the network cannot be solved with the values of the run file.
func Best(p *model.Problem) (*Outcome, error) {
	return (&hypothesis{Problem: p}).best()
}

func (h *hypothesis) best() (*Outcome, error) {
	fit, err := h.SolveLimited(h.Start(), initialIterations)
	if err != nil {
		return nil, err
	}
	if fit, err = h.findExplanation(fit); err != nil {
		return nil, err
	}
	fit = h.finalFit(h.tryExchanges(fit))
	fit = h.readmitAgreeing(fit)
	h.tryDarkReels(fit)
	squares, freedom := h.ChiSquared(fit), h.DegreesOfFreedom(fit)
	for i, c := range h.open {
		h.open[i].LowerBound = h.lowerBound(c, fit)
	}
	// The fits above changed states and predictions, so they are computed again at this fit.
	if err := h.Evaluate(fit.X, make([]float64, len(fit.Residuals)), nil); err != nil {
		return nil, err
	}
	return &Outcome{Fit: fit, ChiSquared: squares, DegreesOfFreedom: freedom, Open: h.open, Mistakes: h.mistakes, Alternatives: h.alternatives}, nil
}

// readmitAgreeing returns excluded readings to the fit where they agree with it and the cost does
// not rise by more than 1.
func (h *hypothesis) readmitAgreeing(fit *leastsquares.Fit) *leastsquares.Fit {
	for range 2 {
		out, most := h.exclusions(), h.penalisedCost(fit)+1
		back, err := h.readmit(fit)
		if err == nil && back == fit {
			break
		}
		if err == nil {
			back = h.solveLonger(back)
		}
		if err != nil || h.penalisedCost(back) > most {
			h.setExclusions(out)
			break
		}
		fit = back
	}
	return fit
}

// Alternative is another explanation of the readings: other readings are wrong, or a reel is dark.
type Alternative struct {
	Excluded []bool // by observation: excluded as wrong; nil for none
	DarkReel int    // index of a reel that stays dark in every step; model.Absent for none
}

// BestUnder is Best under the assumptions of an alternative: its readings are excluded for good, and
// its reel is dark. The outcome has no alternatives.
func BestUnder(p *model.Problem, a Alternative) (*Outcome, error) {
	for i, out := range a.Excluded {
		o := &p.Observations[i]
		o.Excluded, o.ExcludedForGood = o.Excluded || out, o.ExcludedForGood || out
	}
	p.DarkReel = a.DarkReel
	outcome, err := Best(p)
	if err != nil {
		return nil, err
	}
	outcome.Alternatives = nil
	return outcome, nil
}
