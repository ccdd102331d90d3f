package model

import (
	"cmp"
	"math"
	"slices"

	"ohmkeep/internal/numeric/leastsquares"
)

// Function returns the value of a function of the unknowns at x and its derivatives.
type Function = func(x []float64) (value float64, row []float64)

// heldElement is an element that is held at a value by one more residual.
type heldElement struct {
	of    Function
	value float64
}

const (
	// Options of a fit with an element held (see leastsquares.Options). It only has to give a
	// difference of sums of squares; a fit that converges needs fewer than heldIterations.
	heldTolerance    = 1e-3
	heldIterations   = 30
	heldSlowProgress = 0.03
	// heldDeviation is the standard deviation with which an element is held at a value, on the
	// transformed scale or of a factor.
	heldDeviation = 1e-6
)

// SumHeldAt returns the least sum of squares with a function of the unknowns held at a value, and
// the unknowns there. It fits from the start with the least sum, and from the next one where that
// fit does not converge. Without a fit that converges it returns the result of the best one. ok is
// false where no start can be fitted.
func (m *Model) SumHeldAt(a Assumptions, of Function, value float64, starts ...[]float64) (least float64, x []float64, ok bool) {
	a.element = &heldElement{of: of, value: value}
	for _, start := range m.bestFirst(a, starts) {
		fit, err := m.solveWith(a, start, leastsquares.Options{Tolerance: heldTolerance, SlowProgress: heldSlowProgress, MaxIterations: heldIterations})
		if err != nil {
			continue
		}
		if !ok || fit.SumSquares < least || fit.Converged {
			least, x, ok = fit.SumSquares, fit.X, true
		}
		if fit.Converged {
			break
		}
	}
	return least, x, ok
}

// bestFirst sorts starts by their sums of squares without the held element, the least first.
func (m *Model) bestFirst(a Assumptions, starts [][]float64) [][]float64 {
	a.element = nil
	type candidate struct {
		x   []float64
		sum float64
	}
	var list []candidate
	for _, x := range starts {
		sum, err := m.SumAt(a, x)
		if err != nil {
			sum = math.Inf(1)
		}
		list = append(list, candidate{x, sum})
	}
	slices.SortStableFunc(list, func(a, b candidate) int { return cmp.Compare(a.sum, b.sum) })
	sorted := make([][]float64, len(list))
	for i, c := range list {
		sorted[i] = c.x
	}
	return sorted
}

// evaluateElement writes the residual of the held element after all others.
func (p *problem) evaluateElement(x, residuals []float64, jacobian *leastsquares.Matrix) {
	if p.element == nil {
		return
	}
	last := len(residuals) - 1
	value, row := p.element.of(x)
	residuals[last] = (value - p.element.value) / heldDeviation
	if jacobian != nil {
		for j := range row {
			jacobian.Row(last)[j] = row[j] / heldDeviation
		}
	}
}
