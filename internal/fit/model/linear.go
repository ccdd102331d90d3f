package model

import (
	"math"

	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/numeric/leastsquares"
	"ohmkeep/internal/numeric/matrix"
)

// Linear is a problem near a fit, where every reading is a linear function of the unknowns.
type Linear struct {
	Problem      *Problem
	X            []float64 // the best estimate
	linearisedAt []float64 // where the derivatives are of; nil: x
	Covariance   *leastsquares.Matrix
	Sum          float64 // of squares, all knowledge beforehand included
}

// LinearAt is the linear model at a fit.
func (p *Problem) LinearAt(fit *leastsquares.Fit) Linear {
	return Linear{Problem: p, X: fit.X, Covariance: fit.Covariance, Sum: fit.SumSquares}
}

// Own is a copy with unknowns and a covariance of its own.
func (l Linear) Clone() Linear {
	if l.linearisedAt == nil {
		l.linearisedAt = l.X
	}
	l.X, l.Covariance = append([]float64(nil), l.X...), l.Covariance.Clone()
	return l
}

// Drop takes what is known of a reel from its foil out of the estimate, which must be its own,
// and leaves it idle. It returns false, having changed nothing, where nothing else tells of
// the reel.
func (l *Linear) RemoveFoilPrior(a *prior.FoilPrior) bool {
	row := make([]float64, len(l.X))
	z := a.Row(l.linearisedAt, row)
	for j, d := range row {
		z += d * (l.X[j] - l.linearisedAt[j]) // as the linear model has it
	}
	along := matrix.Times(l.Covariance, row)
	rest := 1 - matrix.Dot(row, along) // what of the reel's knowledge is not from its foil
	if !(rest > 1e-9) {
		return false
	}
	for j, c := range along {
		l.X[j] += c * z / rest
		to := l.Covariance.Row(j)
		for k, d := range along {
			to[k] += c * d / rest
		}
	}
	l.Sum -= z * z / rest
	a.Disabled = true
	return true
}

// Alone is the linear model without what is known of a reel from the other reels of its
// strip; false where there is no such knowledge, or nothing else tells of the reel. Until
// done is called the problem, and so every linear model of it, leaves that knowledge out too.
func (l Linear) WithoutFoilPrior(reel int) (view Linear, done func(), ok bool) {
	for i := range l.Problem.FoilPriors {
		a := &l.Problem.FoilPriors[i]
		if a.Reel != reel || a.Disabled {
			continue
		}
		view = l.Clone()
		if !view.RemoveFoilPrior(a) {
			break
		}
		return view, func() { a.Disabled = false }, true
	}
	return l, func() {}, false
}

// Before is the variance that a linear function of the unknowns had beforehand.
func (l *Linear) PriorVariance(row []float64) float64 {
	sum := 0.0
	for i, d := range row {
		u := l.Problem.Unknowns[i].Deviation
		sum += d * d * u * u
	}
	return sum
}

// Tells is the part of what was uncertain beforehand that may be left for an element to
// count as known by the readings.
const MaxRemainingDeviation = 0.5

// Told tells whether the readings say more of a linear function of the unknowns than was
// known beforehand.
func (l *Linear) Determined(row []float64) bool {
	return math.Max(matrix.Quadratic(l.Covariance, row), 0) < MaxRemainingDeviation*MaxRemainingDeviation*l.PriorVariance(row)
}
