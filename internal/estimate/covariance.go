package estimate

import "ohmkeep/internal/leastsquares"

// times is a matrix times a vector.
func times(c *leastsquares.Matrix, row []float64) []float64 {
	out := make([]float64, c.Rows)
	for i := range out {
		out[i] = dot(c.Row(i), row)
	}
	return out
}

// dot is the scalar product.
func dot(a, b []float64) float64 {
	sum := 0.0
	for i, x := range a {
		sum += x * b[i]
	}
	return sum
}

// quadratic is rowᵀ·C·row.
func quadratic(c *leastsquares.Matrix, row []float64) float64 {
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

// narrow has a covariance updated by a reading with the given derivatives, in units of
// its deviation.
func narrow(c *leastsquares.Matrix, row []float64) {
	along := times(c, row)
	by := 1 / (1 + dot(row, along))
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
