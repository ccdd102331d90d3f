package model

import (
	"cmp"
	"math"
	"slices"

	"ohmkeep/internal/numeric/leastsquares"
)

// Function is a function of the unknowns: its value and its derivatives.
type Function = func(x []float64) (value float64, row []float64)

// pin holds an element at a value by one more residual.
type pin struct {
	of    Function
	value float64
}

const (
	// pinTolerance is enough for a difference of sums of squares, pinIterations for any fit that
	// converges.
	pinTolerance  = 1e-3
	pinIterations = 30
	pinSlack      = 0.03
	// pinDeviation is the standard deviation with which an element is held at a value, on the
	// transformed scale or of a factor.
	pinDeviation = 1e-6
)

// SumHeldAt is the least sum of squares with a function of the unknowns held at a value, and the
// unknowns there: of the fit from the best start, or from another one where that does not converge.
// A fit that ends early is not far above the least sum. ok is false where no start can be fitted.
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

// bestFirst sorts starts by their sums of squares.
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
