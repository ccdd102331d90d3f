// Package matrix has arithmetic with covariance matrices: variances of linear functions, their
// update by a further reading, and the matrices' factors, roots and inverses. Matrices are dense;
// vectors are dense unless they are Sparse, and as long as a row of the matrix.
package matrix

import (
	"ohmkeep/internal/numeric/leastsquares"
)

// Times returns a matrix times a vector.
func Times(c *leastsquares.Matrix, row []float64) []float64 {
	few := SparseOf(row, 0)
	out := make([]float64, c.Rows)
	for i := range out {
		out[i] = few.Dot(c.Row(i))
	}
	return out
}

// Dot returns the scalar product of two vectors of equal length.
func Dot(a, b []float64) float64 {
	sum := 0.0
	for i, x := range a {
		sum += x * b[i]
	}
	return sum
}

// AddTo adds a multiple of a vector to another one.
func AddTo(sum, v []float64, by float64) {
	for i, x := range v {
		sum[i] += by * x
	}
}

// Quadratic returns rowᵀ·C·row, the variance of a linear function with derivatives row.
func Quadratic(c *leastsquares.Matrix, row []float64) float64 {
	sum, few := 0.0, SparseOf(row, 0)
	for n, i := range few.at {
		sum += few.value[n] * few.Dot(c.Row(i))
	}
	return sum
}

// minRest is the least part of a reading's variance that other readings must leave where it is removed.
const minRest = 1e-9

// Widen removes a reading from a covariance, the inverse of Narrow: C + C·r·rᵀ·C/(1 − rᵀ·C·r)
// (Sherman and Morrison). row holds r, the reading's derivatives over its standard deviation. Widen
// changes nothing where only that reading determines a direction.
func Widen(c *leastsquares.Matrix, row []float64) {
	along := Times(c, row)
	rest := 1 - Dot(row, along)
	if !(rest > minRest) {
		return
	}
	for a, x := range along {
		if x == 0 {
			continue
		}
		to := c.Row(a)
		for b, y := range along {
			to[b] += x * y / rest
		}
	}
}

// Narrow updates a covariance by a reading: C − C·r·rᵀ·C/(1 + rᵀ·C·r) (Sherman and Morrison). row
// holds r, the reading's derivatives over its standard deviation.
func Narrow(c *leastsquares.Matrix, row []float64) {
	along := Times(c, row)
	by := 1 / (1 + Dot(row, along))
	for a, x := range along {
		if x == 0 {
			continue
		}
		to := c.Row(a)
		for b, y := range along {
			to[b] -= by * x * y
		}
	}
}
