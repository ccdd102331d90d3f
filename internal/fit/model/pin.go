package model

import (
	"cmp"
	"math"
	"slices"

	"ohmkeep/internal/numeric/leastsquares"
)

// Function returns the value of a function of the unknowns at x and its derivatives.
type Function = func(x []float64) (value float64, row []float64)

// pin holds an element at a value by one more residual.
type pin struct {
	of    Function
	value float64
}

const (
	// Options of a fit with a pin (see leastsquares.Options). It only has to give a difference of
	// sums of squares; a fit that converges needs fewer than pinIterations.
	pinTolerance  = 1e-3
	pinIterations = 30
	pinSlack      = 0.03
	// pinDeviation is the standard deviation with which an element is held at a value, on the
	// transformed scale or of a factor.
	pinDeviation = 1e-6
)

// SumHeldAt returns the least sum of squares with a function of the unknowns held at a value, and
// the unknowns there. It fits from the start with the least sum, and from the next one where that
// fit does not converge. Without a fit that converges it returns the result of the best one. ok is
// false where no start can be fitted.
func (p *Problem) SumHeldAt(of Function, value float64, starts ...[]float64) (least float64, x []float64, ok bool) {
	p.bestFirst(starts)
	p.pin = &pin{of: of, value: value}
	defer func() { p.pin = nil }()
	for _, start := range starts {
		fit, err := p.solveWith(start, leastsquares.Options{Tolerance: pinTolerance, Slack: pinSlack, MaxIterations: pinIterations})
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

// bestFirst sorts starts by their sums of squares, the least first.
func (p *Problem) bestFirst(starts [][]float64) {
	sums := make(map[*float64]float64, len(starts))
	for _, x := range starts {
		sum, err := p.SumAt(x)
		if err != nil {
			sum = math.Inf(1)
		}
		sums[&x[0]] = sum
	}
	slices.SortStableFunc(starts, func(a, b []float64) int { return cmp.Compare(sums[&a[0]], sums[&b[0]]) })
}

// evaluatePin writes the pin's residual after all others.
func (p *Problem) evaluatePin(x, residuals []float64, jacobian *leastsquares.Matrix) {
	if p.pin == nil {
		return
	}
	last := len(residuals) - 1
	value, row := p.pin.of(x)
	residuals[last] = (value - p.pin.value) / pinDeviation
	if jacobian != nil {
		for j := range row {
			jacobian.Row(last)[j] = row[j] / pinDeviation
		}
	}
}
