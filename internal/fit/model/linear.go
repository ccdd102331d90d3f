package model

import (
	"math"
	"slices"

	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/numeric/leastsquares"
	"ohmkeep/internal/numeric/matrix"
)

// Linear is a model linearised at a fit. A value is never changed.
type Linear struct {
	Model        *Model
	Assumptions  Assumptions
	X            []float64 // the best estimate
	linearisedAt []float64 // where the derivatives are taken
	Covariance   *leastsquares.Matrix
	Sum          float64 // of squares, priors included
}

// Linear returns the linear model at a fit.
func (f *Fit) Linear() Linear {
	return Linear{Model: f.Model, Assumptions: f.Assumptions, X: f.X, linearisedAt: f.X, Covariance: f.Covariance, Sum: f.SumSquares}
}

// WithoutFoilPrior returns the linear model without the foil prior of a reel. ok is false where the
// reel has none, or where only this prior determines the reel: then the model is as it was.
func (l Linear) WithoutFoilPrior(reel int) (without Linear, ok bool) {
	i, z, along, rest := l.foilPriorOf(reel)
	if i == Absent {
		return l, false
	}
	without = l
	without.X, without.Covariance = slices.Clone(l.X), l.Covariance.Clone()
	for j, c := range along {
		without.X[j] += c * z / rest
		to := without.Covariance.Row(j)
		for k, d := range along {
			to[k] += c * d / rest
		}
	}
	without.Sum -= z * z / rest
	without.Assumptions = l.Assumptions.WithoutFoilPrior(i)
	return without, true
}

// DeterminedWithoutFoilPrior is Determined in the linear model that WithoutFoilPrior returns.
func (l *Linear) DeterminedWithoutFoilPrior(reel int, row []float64) bool {
	variance := matrix.Quadratic(l.Covariance, row)
	if i, _, along, rest := l.foilPriorOf(reel); i != Absent {
		pull := matrix.Dot(row, along)
		variance += pull * pull / rest
	}
	return l.determines(row, variance)
}

// foilPriorOf returns the index of the foil prior of a reel, its residual z at the best estimate, its covariance
// with the unknowns, and the part of the reel's information that is not from this prior. The index is Absent where
// the reel has none, or where only this prior determines the reel.
func (l *Linear) foilPriorOf(reel int) (i int, z float64, along []float64, rest float64) {
	i = slices.IndexFunc(l.Model.FoilPriors, func(a prior.FoilPrior) bool { return a.Reel == reel })
	if i < 0 || l.Assumptions.NoFoilPrior[i] {
		return Absent, 0, nil, 0
	}
	row := make([]float64, len(l.X))
	z = l.Model.FoilPriors[i].Row(l.linearisedAt, row)
	for j, d := range row {
		z += d * (l.X[j] - l.linearisedAt[j]) // in the linear model
	}
	along = matrix.Times(l.Covariance, row)
	rest = 1 - matrix.Dot(row, along)
	if !(rest > 1e-9) {
		return Absent, 0, nil, 0
	}
	return i, z, along, rest
}

// PriorVariance returns the variance of a linear function of the unknowns under their priors alone.
func (l *Linear) PriorVariance(row []float64) float64 {
	sum := 0.0
	for i, d := range row {
		u := l.Model.Unknowns[i].Deviation
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
	return l.determines(row, matrix.Quadratic(l.Covariance, row))
}

// determines reports whether a variance of a linear function of the unknowns is that of one that the readings
// determine.
func (l *Linear) determines(row []float64, variance float64) bool {
	return math.Max(variance, 0) < MaxRemainingDeviation*MaxRemainingDeviation*l.PriorVariance(row)
}
