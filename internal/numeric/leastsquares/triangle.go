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
	heights []int     // by column: data rows that are not zero from there down
	upper   []float64 // m×m, row after row; only on and above the diagonal
	columns []float64 // m+1 columns of n: J and r, overwritten
	right   []float64 // m: c, then the transformed right-hand side
	scratch []float64 // m
}

func newTriangle(n, m int) *triangle {
	return &triangle{n: n, m: m, heights: make([]int, m), upper: make([]float64, m*m), columns: make([]float64, (m+1)*max(n, 1)),
		right: make([]float64, m), scratch: make([]float64, m)}
}

// fold makes the triangle of a Jacobian, residuals, diagonal and its right-hand side.
func (t *triangle) fold(jacobian *Matrix, residuals, diagonal, c []float64) {
	t.begin(diagonal, c)
	dense := 0
	last := t.columns[t.m*t.n:]
	for i := range jacobian.Rows {
		row := jacobian.Row(i)
		if few(row) {
			t.rotate(row, residuals[i])
			continue
		}
		for j, x := range row {
			t.columns[j*t.n+dense] = x
		}
		last[dense] = residuals[i]
		dense++
	}
	for j := range t.heights {
		t.heights[j] = dense
	}
	for j := range t.m {
		t.reflect(j)
	}
}

// refold makes the triangle of another one, in the place of a Jacobian, and a diagonal
// with a right-hand side of zeros: a fifth of the work of folding it all again.
func (t *triangle) refold(of *triangle, diagonal []float64) {
	clear(t.scratch)
	t.begin(diagonal, t.scratch)
	for i := range t.m {
		for j := i; j < t.m; j++ {
			t.columns[j*t.n+i] = of.upper[i*t.m+j]
		}
	}
	copy(t.columns[t.m*t.n:], of.right)
	for j := range t.m {
		t.heights[j] = j + 1 // a column of a triangle, and reflections keep it so
	}
	for j := range t.m {
		t.reflect(j)
	}
}

// begin starts with a diagonal and its right-hand side.
func (t *triangle) begin(diagonal, c []float64) {
	clear(t.upper)
	for j := range t.m {
		t.upper[j*t.m+j] = diagonal[j]
		t.right[j] = c[j]
	}
}

// few reports whether a row has so few entries that rotating it is less work than
// carrying it through all reflections.
func few(row []float64) bool {
	n := 0
	for _, x := range row {
		if x != 0 {
			n++
			if n > 4 {
				return false
			}
		}
	}
	return true
}

// rotate folds one row and its residual into the triangle by Givens rotations.
func (t *triangle) rotate(row []float64, residual float64) {
	rest := t.scratch
	copy(rest, row)
	for j := range t.m {
		if rest[j] == 0 {
			continue
		}
		upper := t.upper[j*t.m : (j+1)*t.m]
		length := math.Hypot(upper[j], rest[j])
		cos, sin := upper[j]/length, rest[j]/length
		for k := j; k < t.m; k++ {
			a, b := upper[k], rest[k]
			upper[k], rest[k] = cos*a+sin*b, cos*b-sin*a
		}
		rest[j] = 0
		t.right[j], residual = cos*t.right[j]+sin*residual, cos*residual-sin*t.right[j]
	}
}

// reflect clears column j of the data rows with the reflection I − τ·v·vᵀ, v being 1
// in row j of the triangle and the scaled column in the data rows.
func (t *triangle) reflect(j int) {
	h := t.heights[j]
	column := t.columns[j*t.n : j*t.n+h]
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
	k := j + 1
	for ; k+4 <= t.m; k += 4 {
		t.applyFour(column, k, row[k:k+4], tau)
	}
	for ; k < t.m; k++ {
		row[k] = apply(column, t.columns[k*t.n:k*t.n+h], row[k], tau)
	}
	t.right[j] = apply(column, t.columns[t.m*t.n:t.m*t.n+h], t.right[j], tau)
}

// apply reflects one column with entry head in the triangle's row, which it returns.
func apply(v, column []float64, head, tau float64) float64 {
	column = column[:len(v)]
	sum := head
	for i, x := range v {
		sum += x * column[i]
	}
	sum *= tau
	for i, x := range v {
		column[i] -= sum * x
	}
	return head - sum
}

// applyFour is apply for four columns from k on and their entries in the triangle's row:
// the reflection is read a quarter as often, and no sum waits for another.
func (t *triangle) applyFour(v []float64, k int, head []float64, tau float64) {
	n := len(v)
	at := func(k int) []float64 { return t.columns[k*t.n : k*t.n+n][:len(v)] }
	p, q, r, s := at(k), at(k+1), at(k+2), at(k+3)
	a, b, c, d := head[0], head[1], head[2], head[3]
	for i, x := range v {
		a += x * p[i]
		b += x * q[i]
		c += x * r[i]
		d += x * s[i]
	}
	a, b, c, d = tau*a, tau*b, tau*c, tau*d
	for i, x := range v {
		p[i] -= a * x
		q[i] -= b * x
		r[i] -= c * x
		s[i] -= d * x
	}
	head[0] -= a
	head[1] -= b
	head[2] -= c
	head[3] -= d
}

// solve writes the minimising δ; 0 in a direction of which nothing is known.
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

// fall is by how much the minimising δ lowers the sum of squares.
func (t *triangle) fall() float64 {
	sum := 0.0
	for _, c := range t.right {
		sum += c * c
	}
	return sum
}

// columnLength is the length of column j of J and D together.
func (t *triangle) columnLength(j int) float64 {
	for k := 0; k <= j; k++ {
		t.scratch[k] = t.upper[k*t.m+j]
	}
	return norm(t.scratch[:j+1])
}

// sine is that of the angle between column j and the space of the columns before it;
// 0 for a column of zeros.
func (t *triangle) sine(j int) float64 {
	l := t.columnLength(j)
	if l == 0 {
		return 0
	}
	return math.Abs(t.upper[j*t.m+j]) / l
}

// lost is the sine that rounding makes of 0.
func (t *triangle) lost() float64 {
	const epsilon = 0x1p-52
	return 4 * epsilon * math.Sqrt(float64(t.n+t.m))
}

// covariance is R⁻¹·R⁻ᵀ; nil where a column lies in the space of the others to the
// last digits. The sine of that angle is 1/(length of the column · its deviation).
func (t *triangle) covariance() *Matrix {
	m := t.m
	for j := range m {
		if t.upper[j*m+j] == 0 {
			return nil
		}
	}
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
		if !(t.columnLength(a)*math.Sqrt(c.At(a, a))*t.lost() < 1) {
			return nil
		}
		for b := range a {
			c.Data[b*m+a] = c.Data[a*m+b]
		}
	}
	return c
}

// norm is the Euclidean length, safe from overflow.
func norm(v []float64) float64 {
	plain := 0.0
	for _, x := range v {
		plain += x * x
	}
	if plain > 1e-280 && plain < 1e280 {
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
