package model

import (
	"ohmkeep/internal/numeric/leastsquares"
)

// Function is a value worked out of the unknowns, with its derivatives by each.
type Function = func(x []float64) (value float64, row []float64)

// pin holds an element at a value by one more residual.
type pin struct {
	of    Function
	value float64
}

const (
	// heldTolerance is enough for a difference of sums of squares, heldSteps for any that
	// settles.
	pinTolerance  = 1e-3
	pinIterations = 25
	// pinned is the deviation, on the bent scale or of a factor, with which an element
	// is held at a value.
	pinDeviation = 1e-6
)

// HeldAt is the least sum of squares with a function of the unknowns at a value.
func (p *Problem) SumHeldAt(of Function, value float64, start []float64) (float64, error) {
	p.pin = &pin{of: of, value: value}
	defer func() { p.pin = nil }()
	fit, err := p.solveWith(start, leastsquares.Options{Tolerance: pinTolerance, MaxIterations: pinIterations})
	if err != nil {
		return 0, err
	}
	return fit.SumSquares, nil
}

// evaluatePin writes the pin's residual behind all others.
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
