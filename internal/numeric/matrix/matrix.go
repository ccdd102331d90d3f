// Package matrix is arithmetic with covariance matrices: variances of linear functions,
// what another reading leaves of them, their factors, roots and inverses. Matrices are dense;
// vectors are dense unless they are Sparse, and have the length of the matrices' rows.
package matrix

import (
	"ohmkeep/internal/numeric/leastsquares"
)

// Times is a matrix times a vector.
func Times(c *leastsquares.Matrix, row []float64) []float64 {
	few := SparseOf(row, 0)
	out := make([]float64, c.Rows)
	for i := range out {
		out[i] = few.Dot(c.Row(i))
	}
	return out
}

// Dot is the scalar product.
func Dot(a, b []float64) float64 {
	sum := 0.0
	for i, x := range a {
		sum += x * b[i]
	}
	return sum
}

// Quadratic is rowᵀ·C·row.
func Quadratic(c *leastsquares.Matrix, row []float64) float64 {
	sum := 0.0
	for i, a := range row {
		if a == 0 {
			continue
		}
		inner := 0.0
		for j, b := range row {
			if b != 0 {
				inner += c.At(i, j) * b
			}
		}
		sum += a * inner
	}
	return sum
}

// Widen is the opposite of Narrow: the reading with the given derivatives is taken out again. It
// changes nothing where that reading alone determines a direction.
func Widen(c *leastsquares.Matrix, row []float64) {
	along := Times(c, row)
	rest := 1 - Dot(row, along)
	if !(rest > 1e-9) {
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

// Narrow has a covariance updated by a reading with the given derivatives, in units of
// its deviation.
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
