package model

import (
	"cmp"
	"math"
	"slices"

	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/numeric/leastsquares"
)

// Options of a fit with a resistance held (see leastsquares.Options). It only has to give a
// difference of sums of squares; a fit that converges needs fewer than heldIterations.
const (
	heldTolerance  = 1e-3
	heldIterations = 30
)

// SumHeldAt returns the least sum of squares with a resistance held at a value, and the unknowns
// there, with about the given accuracy of the sum. It fits from the start with the least sum, and
// from the next one where that fit does not converge. Without a fit that converges it returns the
// result of the best one. ok is false where no start can be fitted.
func (m *Model) SumHeldAt(a Assumptions, r Resistance, value, accuracy float64, starts ...[]float64) (least float64, x []float64, ok bool) {
	for _, start := range m.bestFirst(a, r, value, starts) {
		held := r.heldAt(value, start)
		a.held = held
		fit, err := m.solveWith(a, start, leastsquares.Options{Tolerance: heldTolerance, SlowProgress: accuracy, MaxIterations: heldIterations, NoCovariance: true})
		if err != nil {
			continue
		}
		if !ok || fit.SumSquares < least || fit.Converged {
			least, x, ok = fit.SumSquares, fit.X, true
			x[held.dependent], _, _ = held.follow(x) // at X it was evaluated
		}
		if fit.Converged {
			break
		}
	}
	return least, x, ok
}

// SumHeldAt is Model.SumHeldAt near the fit of the linear model, whose covariance spares most fits: the start
// near it is the minimum that the linear model has there, nil where that is not known.
func (l *Linear) SumHeldAt(r Resistance, value, accuracy float64, near []float64, others ...[]float64) (least float64, x []float64, ok bool) {
	if near == nil {
		return l.Model.SumHeldAt(l.Assumptions, r, value, accuracy, others...)
	}
	if l.Covariance != nil {
		if least, x, ok = l.refit(r.heldAt(value, near), near, accuracy); ok {
			return least, x, true
		}
	}
	return l.Model.SumHeldAt(l.Assumptions, r, value, accuracy, append(others, near)...)
}

// bestFirst returns starts with the resistance held and no conductor below zero, the one with the
// least sum of squares first.
func (m *Model) bestFirst(a Assumptions, r Resistance, value float64, starts [][]float64) [][]float64 {
	type candidate struct {
		x   []float64
		sum float64
	}
	var list []candidate
	for _, x := range starts {
		at := slices.Clone(x)
		for _, j := range m.bounded {
			at[j] = math.Max(at[j], prior.LeastOhms) // where the network is solved without continuation
		}
		held := r.heldAt(value, at)
		var err error
		sum := math.Inf(1)
		if at[held.dependent], _, err = held.follow(at); err == nil {
			if s, err := m.SumAt(a, at); err == nil {
				sum = s
			}
		}
		list = append(list, candidate{at, sum})
	}
	slices.SortStableFunc(list, func(a, b candidate) int { return cmp.Compare(a.sum, b.sum) })
	sorted := make([][]float64, len(list))
	for i, c := range list {
		sorted[i] = c.x
	}
	return sorted
}

// evaluateHeld evaluates the problem at x with the dependent unknown of a held resistance as it
// follows. That unknown's prior is a residual of its own, after all others, and its column of the
// Jacobian goes to the other conductor.
func (p *problem) evaluateHeld(x, residuals []float64, jacobian *leastsquares.Matrix) error {
	h := p.held
	full, slope, err := h.whole(x)
	if err != nil {
		return err
	}
	last := len(residuals) - 1
	if err := p.evaluateFree(full, residuals[:last], jacobian); err != nil {
		return err
	}
	mean, deviation := p.PriorOf(p.Assumptions, h.dependent)
	residuals[last] = (full[h.dependent] - mean) / deviation
	if jacobian == nil {
		return nil
	}
	row := jacobian.Row(last)
	clear(row)
	row[h.dependent] = 1 / deviation
	for i := range jacobian.Rows {
		h.carry(jacobian.Row(i), slope)
	}
	return nil
}
