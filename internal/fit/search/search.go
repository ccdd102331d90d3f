// Package search finds the explanation that fits the readings of a run best: which readings are
// outliers, which conductors are open, which operator mistakes affect several readings at once.
// It fits the network to the remaining readings and estimates their noise from the residuals.
//
// Explanations are compared by cost: minus twice the logarithm of the restricted likelihood, with
// the noise that fits the residuals best. Each assumption adds a penalty to the cost.
package search

import (
	"slices"

	"ohmkeep/internal/fit/model"
)

// explanation is a fit with its assumptions: excluded readings, noise, open conductors and operator
// mistakes. A value is never changed.
type explanation struct {
	*model.Fit
	open []OpenConductor // held open in the fit
}

// solve fits from a start under some assumptions, which hold the explanation's conductors open.
func (e explanation) solve(a model.Assumptions, start []float64) (explanation, error) {
	fit, err := model.Solve(e.Model, a, start)
	return explanation{fit, e.open}, err
}

// solveLimited is solve with at most so many iterations.
func (e explanation) solveLimited(a model.Assumptions, start []float64, most int) (explanation, error) {
	fit, err := model.SolveLimited(e.Model, a, start, most)
	return explanation{fit, e.open}, err
}

// Outcome is the explanation that fits the readings best. Its noise is estimated.
type Outcome struct {
	*model.Fit
	Open         []OpenConductor
	Alternatives []Alternative // explanations of nearly the same cost
}

// Best finds the explanation that fits the readings of a model best. It returns an error where the
// network cannot be solved with the values of the run file.
func Best(m *model.Model) (*Outcome, error) { return best(m, m.Assume(), false) }

// best finds the best explanation that includes some assumptions. asRead asks for one without
// exchanged currents where there is one.
func best(m *model.Model, a model.Assumptions, asRead bool) (*Outcome, error) {
	first, err := model.SolveLimited(m, a, m.Start(a), initialIterations)
	if err != nil {
		return nil, err
	}
	e, err := findExplanation(explanation{Fit: first})
	if err != nil {
		return nil, err
	}
	e, alternatives := e.tryExchanges()
	if !asRead {
		var swapped []Alternative
		e, swapped = e.trySwappedFeeds()
		alternatives = append(alternatives, swapped...)
	}
	e = e.finalFit().readmitAgreeing()
	alternatives = append(alternatives, e.darkReels()...)
	open := slices.Clone(e.open)
	for i, c := range open {
		open[i].LowerBound = e.lowerBound(c)
	}
	return &Outcome{Fit: e.Fit, Open: open, Alternatives: alternatives}, nil
}

// readmitAgreeing returns excluded readings to the fit where they agree with it and the cost does
// not rise by more than 1.
func (e explanation) readmitAgreeing() explanation {
	for range 2 {
		back, err := e.readmit()
		if err != nil || back.Fit == e.Fit {
			break
		}
		if back = back.solveLonger(); back.penalisedCost() > e.penalisedCost()+1 {
			break
		}
		e = back
	}
	return e
}

// Alternative is another explanation of the readings: other readings are wrong, a reel is dark, or
// operator mistakes were made that the best explanation does not have.
type Alternative struct {
	Excluded []bool          // by observation: excluded as wrong; nil for none
	DarkReel int             // index of a reel that stays dark in every step; model.Absent for none
	Mistakes []model.Mistake // operator mistakes; nil for none
	AsRead   bool            // the best explanation has exchanged currents, and this one takes them as read
}

// BestUnder is Best under the assumptions of an alternative: its readings are excluded for good, and
// its reel is dark, and its mistakes are corrected. The outcome has no alternatives.
func BestUnder(m *model.Model, x Alternative) (*Outcome, error) {
	a := m.Assume().ExcludingForGood(x.Excluded)
	a.DarkReel, a.Mistakes = x.DarkReel, x.Mistakes
	outcome, err := best(m, a, x.AsRead)
	if err != nil {
		return nil, err
	}
	outcome.Alternatives = nil
	return outcome, nil
}
