package leastsquares

import "math"

// triangle solves linear least squares by Householder reflections: it minimises
//
//	‖J·δ + r‖² + ‖D·δ + c‖²
//
// with D diagonal. D is the triangle to begin with and the rows of J are folded
// into it, column by column; what is below the diagonal of D never fills
// (Golub and Van Loan, Matrix Computations, 5.2). All memory is made once.
type triangle struct {
	n, m    int
	upper   []float64 // m×m, row after row; only on and above the diagonal
	columns []float64 // m+1 columns of n: J and r, overwritten
	right   []float64 // m: c, then the transformed right-hand side
}

func newTriangle(n, m int) *triangle {
	return &triangle{n: n, m: m, upper: make([]float64, m*m), columns: make([]float64, (m+1)*n), right: make([]float64, m)}
}

// fold makes the triangle of a Jacobian, residuals, diagonal and its right-hand side.
func (t *triangle) fold(jacobian *Matrix, residuals, diagonal, c []float64) {
	clear(t.upper)
	for j := range t.m {
		t.upper[j*t.m+j] = diagonal[j]
		t.right[j] = c[j]
		column := t.columns[j*t.n : (j+1)*t.n]
		for i := range column {
			column[i] = jacobian.Data[i*jacobian.Cols+j]
		}
	}
	copy(t.columns[t.m*t.n:], residuals)
	for j := range t.m {
		t.reflect(j)
	}
}

// reflect clears column j of the data rows with the reflection I − τ·v·vᵀ, v being 1
// in row j of the triangle and the scaled column in the data rows.
func (t *triangle) reflect(j int) {
	column := t.columns[j*t.n : (j+1)*t.n]
	below := norm(column)
	if below == 0 {
		return
	}
	head := t.upper[j*t.m+j]
	length := math.Hypot(head, below)
	if head > 0 {
		length = -length
	}
	tau := (length - head) / length
	scale := 1 / (head - length)
	for i := range column {
		column[i] *= scale
	}
	row := t.upper[j*t.m : (j+1)*t.m]
	row[j] = length
	for k := j + 1; k < t.m; k++ {
		row[k] = t.apply(column, t.columns[k*t.n:(k+1)*t.n], row[k], tau)
	}
	t.right[j] = t.apply(column, t.columns[t.m*t.n:], t.right[j], tau)
}

// apply reflects one column with entry head in the triangle's row, which it returns.
func (t *triangle) apply(v, column []float64, head, tau float64) float64 {
	sum := head
	column = column[:len(v)]
	for i, x := range v {
		sum += x * column[i]
	}
	sum *= tau
	for i, x := range v {
		column[i] -= sum * x
	}
	return head - sum
}

// solve writes the minimising δ. It returns false where the triangle is singular.
func (t *triangle) solve(delta []float64) bool {
	for j := t.m - 1; j >= 0; j-- {
		row := t.upper[j*t.m : (j+1)*t.m]
		sum := -t.right[j]
		for k := j + 1; k < t.m; k++ {
			sum -= row[k] * delta[k]
		}
		if row[j] == 0 {
			return false
		}
		delta[j] = sum / row[j]
	}
	return true
}

// singular tells whether some direction is undetermined to the last digits: a
// diagonal entry that is lost in the rounding of its own column.
func (t *triangle) singular() bool {
	for j := range t.m {
		size := 0.0
		for k := 0; k <= j; k++ {
			size = math.Hypot(size, t.upper[k*t.m+j])
		}
		if math.Abs(t.upper[j*t.m+j]) <= size*lost {
			return true
		}
	}
	return false
}

// lost is the relative size at which a diagonal entry is nothing but rounding.
const lost = 1e-15

// covariance is R⁻¹·R⁻ᵀ.
func (t *triangle) covariance() *Matrix {
	m := t.m
	inverse := NewMatrix(m, m) // row j: column j of R⁻¹, so that products run along rows
	for j := range m {
		row := inverse.Row(j)
		row[j] = 1 / t.upper[j*m+j]
		for i := j - 1; i >= 0; i-- {
			sum := 0.0
			upper := t.upper[i*m : (i+1)*m]
			for k := i + 1; k <= j; k++ {
				sum += upper[k] * row[k]
			}
			row[i] = -sum / upper[i]
		}
	}
	c := NewMatrix(m, m)
	for j := range m { // Σ over columns j of R⁻¹: entries 0..j
		column := inverse.Row(j)[:j+1]
		for a, x := range column {
			row := c.Row(a)
			for b, y := range column[:a+1] {
				row[b] += x * y
			}
		}
	}
	for a := range m {
		for b := range a {
			c.Data[b*m+a] = c.Data[a*m+b]
		}
	}
	return c
}

// norm is the Euclidean length, safe from overflow.
func norm(v []float64) float64 {
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
