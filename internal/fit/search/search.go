// Package search finds the explanation that fits the readings of a run best: which readings are
// outliers, which conductors are open, which operator mistakes affect several readings at once, where
// something that the run file does not list feeds the run or draws current from it, whether all
// readings scatter further than their meters promise. It fits the network to the remaining readings and
// estimates their noise from the residuals.
//
// Explanations are compared by one score (score.go): minus twice the logarithm of the restricted
// likelihood, with the noise that fits the residuals best, and of the prior odds of the assumptions.
package search

import (
	"slices"
	"sync"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/numeric/parallel"
)

// explanation is a fit with its assumptions: excluded readings, noise, open conductors and operator
// mistakes. A value is never changed.
type explanation struct {
	*model.Fit
	open []OpenConductor // held open in the fit
	once *once           // nil where nothing is kept
}

// once holds what is computed once from an explanation, when it is first used.
type once struct {
	score    func() float64
	odds     []func() float64 // by split: oddsOf
	possible func() map[model.MistakeKind]int
}

// explain returns the explanation of a fit with some conductors held open. Its score and odds are
// computed once.
func explain(fit *model.Fit, open []OpenConductor) explanation {
	e := explanation{Fit: fit, open: open}
	kept := &once{score: sync.OnceValue(func() float64 { return e.computeScore() }), possible: sync.OnceValue(e.countPossible)}
	for s := range fit.Model.Splits {
		kept.odds = append(kept.odds, sync.OnceValue(func() float64 { return e.computeOdds(s) }))
	}
	e.once = kept
	return e
}

// solve fits from a start under some assumptions, which hold the explanation's conductors open.
func (e explanation) solve(a model.Assumptions, start []float64) (explanation, error) {
	fit, err := model.Solve(e.Model, a, start)
	if err != nil {
		return explanation{}, err
	}
	return explain(fit, e.open), nil
}

// solveLimited is solve with at most so many iterations.
func (e explanation) solveLimited(a model.Assumptions, start []float64, most int) (explanation, error) {
	fit, err := model.SolveLimited(e.Model, a, start, most)
	if err != nil {
		return explanation{}, err
	}
	return explain(fit, e.open), nil
}

// Outcome is the explanation that fits the readings best. Its noise is estimated.
type Outcome struct {
	*model.Fit
	Open         []OpenConductor
	Score        float64    // minus twice the logarithm of its probability, but for a constant; 0 without alternatives
	Alternatives []*Outcome // explanations of nearly the same score, the better ones first
}

// maxAlternatives is the largest number of alternatives.
const maxAlternatives = 6

// Best finds the explanation that fits the readings of a model best. It returns an error where the
// network cannot be solved with the values of the run file.
func Best(m *model.Model) (*Outcome, error) {
	a := m.Assume()
	first, err := model.SolveLimited(m, a, m.Start(a), initialIterations)
	if err != nil {
		return nil, err
	}
	list, err := findExplanations(explain(first, nil))
	if err != nil {
		return nil, err
	}
	best, _ := bestOf(list)
	list = append(list, best.exchanges()...)
	best, _ = bestOf(list)
	list = append(list, best.unnoticedMistakes()...)
	list = append(list, best.uncontradicted()...)
	asStated, _ := bestOf(list)
	for _, x := range list {
		list = append(list, x.otherStock(asStated.score())...)
	}
	best, _ = bestOf(list)
	list = append(list, asStated.darkReels(best.score())...)
	best, _ = bestOf(list)
	list = append(list, best.unlistedCurrents()...)
	list = append(list, best.rough()...)
	best, alternatives := bestOf(list)
	best = best.finalFit().readmitAgreeing()
	right := best.acquit()
	final := make([]explanation, min(len(alternatives), maxAlternatives))
	parallel.For(len(final), func(i int) { final[i] = alternatives[i].finalFit() })
	best, alternatives = bestOf(slices.Concat([]explanation{right, best}, final))
	if i := slices.IndexFunc(alternatives, right.sameAssumptions); i >= 0 && best.accusesMore(right) {
		best, alternatives[i] = right, best
	}
	outcome := best.outcome()
	for _, x := range alternatives[:min(len(alternatives), maxAlternatives)] {
		other := x.outcome()
		other.Score = x.score()
		outcome.Alternatives = append(outcome.Alternatives, other)
	}
	if len(outcome.Alternatives) > 0 {
		outcome.Score = best.score()
	}
	return outcome, nil
}

// outcome returns an explanation with the lower bounds of its open conductors.
func (e explanation) outcome() *Outcome {
	open := slices.Clone(e.open)
	for i, c := range open {
		open[i].LowerBound = e.lowerBound(c)
	}
	return &Outcome{Fit: e.Fit, Open: open}
}

// readmitAgreeing returns excluded readings to the fit where they agree with it and the cost does
// not rise by more than 1.
func (e explanation) readmitAgreeing() explanation {
	for range 2 {
		back, err := e.readmit()
		if err != nil || back.Fit == e.Fit {
			break
		}
		if back = back.solveLonger(); back.score() > e.score() {
			break
		}
		e = back
	}
	return e
}
