package model

import (
	"math"

	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/numeric/leastsquares"
	"ohmkeep/internal/numeric/matrix"
)

// Linear is a problem linearised at a fit.
type Linear struct {
	Problem      *Problem
	X            []float64 // the best estimate
	linearisedAt []float64 // where the derivatives are taken; nil: at X
	Covariance   *leastsquares.Matrix
	Sum          float64 // of squares, priors included
}

// LinearAt returns the linear model at a fit.
func (p *Problem) LinearAt(fit *leastsquares.Fit) Linear {
	return Linear{Problem: p, X: fit.X, Covariance: fit.Covariance, Sum: fit.SumSquares}
}

// Clone returns a copy with its own unknowns and covariance.
func (l Linear) Clone() Linear {
	if l.linearisedAt == nil {
		l.linearisedAt = l.X
	}
	l.X, l.Covariance = append([]float64(nil), l.X...), l.Covariance.Clone()
	return l
}

// RemoveFoilPrior removes a foil prior from the estimate and disables it. The linear model must
// be a Clone. It returns false and changes nothing where only this prior determines the reel.
func (l *Linear) RemoveFoilPrior(a *prior.FoilPrior) bool {
	row := make([]float64, len(l.X))
	z := a.Row(l.linearisedAt, row)
	for j, d := range row {
		z += d * (l.X[j] - l.linearisedAt[j]) // in the linear model
	}
	along := matrix.Times(l.Covariance, row)
	rest := 1 - matrix.Dot(row, along) // the part of the reel's information that is not from this prior
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

// WithoutFoilPrior returns the linear model without the foil prior of a reel; ok is false where
// the reel has none, or where only this prior determines the reel. The prior stays disabled for the
// problem and all its linear models until done is called.
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

// PriorVariance returns the variance of a linear function of the unknowns under their priors alone.
func (l *Linear) PriorVariance(row []float64) float64 {
	sum := 0.0
	for i, d := range row {
		u := l.Problem.Unknowns[i].Deviation
		sum += d * d * u * u
	}
	return sum
}

// MaxRemainingDeviation is the largest ratio of posterior to prior standard deviation of an
// element that counts as known by the readings.
const MaxRemainingDeviation = 0.5

// Determined reports whether the readings determine a linear function of the unknowns: its
// posterior standard deviation is less than MaxRemainingDeviation of its prior one.
func (l *Linear) Determined(row []float64) bool {
	return math.Max(matrix.Quadratic(l.Covariance, row), 0) < MaxRemainingDeviation*MaxRemainingDeviation*l.PriorVariance(row)
}
