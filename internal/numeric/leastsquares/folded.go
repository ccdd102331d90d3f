package leastsquares

import (
	"math"
	"math/bits"
)

// What follows from a triangle that holds all rows: the solution, the gradient, the rank, the covariance.

// solve writes the minimising δ; 0 for a parameter whose diagonal entry is 0.
func (t *triangle) solve(delta []float64) {
	for j := t.m - 1; j >= 0; j-- {
		row := t.upper[j*t.m : (j+1)*t.m]
		if row[j] == 0 {
			delta[j] = 0
			continue
		}
		sum := -t.right[j]
		for k := j + 1; k < t.m; k++ {
			sum -= row[k] * delta[k]
		}
		delta[j] = sum / row[j]
	}
}

// solveTransposed overwrites v with R⁻ᵀ·v.
func (t *triangle) solveTransposed(v []float64) {
	for j := range t.m {
		row := t.upper[j*t.m : (j+1)*t.m]
		v[j] /= row[j]
		for k := j + 1; k < t.m; k++ {
			v[k] -= row[k] * v[j]
		}
	}
}

// gradient writes Jᵀ·r + D·c, which is Rᵀ times the transformed right-hand side.
func (t *triangle) gradient(g []float64) []float64 {
	clear(g)
	for j := range t.m {
		for k := j; k < t.m; k++ {
			g[k] += t.upper[j*t.m+k] * t.right[j]
		}
	}
	return g
}

// reduction returns by how much the minimising δ lowers the sum of squares.
func (t *triangle) reduction() float64 {
	sum := 0.0
	for _, c := range t.right {
		sum += c * c
	}
	return sum
}

// columnLengths returns the Euclidean lengths of the columns of J and D together. They are valid
// until the next call of a method.
func (t *triangle) columnLengths() []float64 {
	squares := t.scratch
	clear(squares)
	for j := range t.m {
		row := t.upper[j*t.m : (j+1)*t.m]
		squares[j] += row[j] * row[j]
		for w, set := range t.filled[j] {
			for ; set != 0; set &= set - 1 {
				k := 64*w + bits.TrailingZeros64(set)
				squares[k] += row[k] * row[k]
			}
		}
	}
	for k, x := range squares {
		if squares[k] = math.Sqrt(x); !(x > minSquares && x < maxSquares) {
			squares[k] = t.columnLength(k)
		}
	}
	return squares
}

// columnLength returns the Euclidean length of column k of J and D together.
func (t *triangle) columnLength(k int) float64 {
	column := make([]float64, k+1)
	for j := range column {
		column[j] = t.upper[j*t.m+k]
	}
	return norm(column)
}

// sine returns the sine of the angle between column j, of the given length, and the space of the
// columns before it; 0 for a column of zeros.
func (t *triangle) sine(j int, length float64) float64 {
	if length == 0 {
		return 0
	}
	return math.Abs(t.upper[j*t.m+j]) / length
}

// rankTolerance returns the largest sine that rounding alone can give two parallel columns.
func (t *triangle) rankTolerance() float64 {
	const epsilon = 0x1p-52
	return 4 * epsilon * math.Sqrt(float64(t.n+t.m))
}

// covariance returns R⁻¹·R⁻ᵀ; nil where a column lies in the space of the others to within
// rankTolerance. The sine of that angle is 1/(length of the column · standard deviation).
func (t *triangle) covariance() *Matrix {
	m := t.m
	for j := range m {
		if t.upper[j*m+j] == 0 {
			return nil
		}
	}
	upper := t.entries()
	inverse := NewMatrix(m, m) // row j: column j of R⁻¹, so that products run along rows
	for j := range m {
		row := inverse.Row(j)
		row[j] = 1 / t.upper[j*m+j]
		for i := j - 1; i >= 0; i-- {
			sum := 0.0
			at, value := upper.row(i) // the diagonal first
			for n := 1; n < len(at) && int(at[n]) <= j; n++ {
				sum += value[n] * row[at[n]]
			}
			row[i] = -sum / value[0]
		}
	}
	c := NewMatrix(m, m)
	for j := range m { // Σ over columns j of R⁻¹: entries 0..j
		column := inverse.Row(j)[:j+1]
		for a, x := range column {
			if x == 0 {
				continue
			}
			row := c.Row(a)
			for b, y := range column[:a+1] {
				row[b] += x * y
			}
		}
	}
	lengths := t.columnLengths()
	for a := range m {
		if !(lengths[a]*math.Sqrt(c.At(a, a))*t.rankTolerance() < 1) {
			return nil
		}
		for b := range a {
			c.Data[b*m+a] = c.Data[a*m+b]
		}
	}
	return c
}

// minSquares and maxSquares are the sums of squares between which none overflowed, and none that
// underflowed matters.
const minSquares, maxSquares = 1e-280, 1e280

// norm returns the Euclidean length, without overflow or underflow of the squares.
func norm(v []float64) float64 {
	plain := 0.0
	for _, x := range v {
		plain += x * x
	}
	if plain > minSquares && plain < maxSquares {
		return math.Sqrt(plain)
	}
	largest := 0.0
	for _, x := range v {
		largest = math.Max(largest, math.Abs(x))
	}
	if largest == 0 || math.IsInf(largest, 1) || math.IsNaN(largest) {
		return largest
	}
	sum := 0.0
	for _, x := range v {
		sum += (x / largest) * (x / largest)
	}
	return largest * math.Sqrt(sum)
}
