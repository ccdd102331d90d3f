package leastsquares

import (
	"math"
	"slices"
)

// triangle solves linear least squares by Householder reflections: it minimises
//
//	‖J·δ + r‖² + ‖D·δ + c‖²
//
// with D diagonal. The triangle begins as D. The rows of J are added to it in lots of lotRows, each
// from its first column on (sequential accumulation: Lawson and Hanson, Solving Least Squares
// Problems, chapter 27). Columns in which neither the lot nor the triangle's row has an entry are
// skipped, so the work depends on the number of nonzero entries. All memory is allocated once.
type triangle struct {
	n, m    int
	upper   []float64 // m×m, row after row; only on and above the diagonal
	columns []float64 // m+1 columns of lotRows: a lot of J and r, overwritten
	active  []bool    // by column: the lot has entries there
	first   []int     // by row of J: its first column
	lot     []int     // rows of J in the lot
	next    []int     // columns that a reflection changes
	right   []float64 // m: c, then the transformed right-hand side
	scratch []float64 // m
}

// lotRows is the number of rows that are added at a time.
const lotRows = 64

func newTriangle(n, m int) *triangle {
	return &triangle{n: n, m: m, upper: make([]float64, m*m), columns: make([]float64, (m+1)*lotRows), active: make([]bool, m),
		first: make([]int, max(n, m)), lot: make([]int, 0, lotRows), next: make([]int, 0, m+1), right: make([]float64, m), scratch: make([]float64, m)}
}

// fold computes the triangle of a Jacobian with residuals r and a diagonal with right-hand side c.
func (t *triangle) fold(jacobian *Matrix, residuals, diagonal, c []float64) {
	t.begin(diagonal, c)
	t.absorb(jacobian.Rows, jacobian.Row, residuals)
}

// refold computes the triangle of another triangle, which stands for a Jacobian, and a diagonal
// with a right-hand side of zeros.
func (t *triangle) refold(of *triangle, diagonal []float64) {
	clear(t.scratch)
	t.begin(diagonal, t.scratch)
	t.absorb(of.m, func(i int) []float64 { return of.upper[i*of.m : (i+1)*of.m] }, of.right)
}

// absorb adds rows and their residuals in the order of their first columns. It skips rows of zeros.
func (t *triangle) absorb(rows int, row func(i int) []float64, residuals []float64) {
	for i := range rows {
		t.first[i] = slices.IndexFunc(row(i), func(x float64) bool { return x != 0 })
	}
	for j := range t.m {
		for i := range rows {
			if t.first[i] != j {
				continue
			}
			if t.lot = append(t.lot, i); len(t.lot) == lotRows {
				t.foldLot(row, residuals)
			}
		}
		if len(t.lot) >= lotRows/4 {
			t.foldLot(row, residuals) // rows that begin together have most columns in common
		}
	}
	t.foldLot(row, residuals)
}

// foldLot adds the rows of the lot to the triangle.
func (t *triangle) foldLot(row func(i int) []float64, residuals []float64) {
	h := len(t.lot)
	if h == 0 {
		return
	}
	last := t.columns[t.m*lotRows:]
	for p, i := range t.lot {
		for j, x := range row(i) {
			if x != 0 {
				t.columns[j*lotRows+p] = x
				t.active[j] = true
			}
		}
		last[p] = residuals[i]
	}
	from := t.first[t.lot[0]]
	t.lot = t.lot[:0]
	for j := from; j < t.m; j++ {
		if t.active[j] {
			t.reflect(j, h)
			t.active[j] = false
			clear(t.columns[j*lotRows : (j+1)*lotRows])
		}
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

// reflect clears column j of the h rows of the lot with the reflection I − τ·v·vᵀ, v being 1 in row
// j of the triangle and the scaled column in the lot.
func (t *triangle) reflect(j, h int) {
	column := t.columns[j*lotRows : j*lotRows+h]
	below := norm(column)
	if below == 0 {
		return
	}
	row := t.upper[j*t.m : (j+1)*t.m]
	head := row[j]
	length := math.Hypot(head, below)
	if head > 0 {
		length = -length
	}
	tau := (length - head) / length
	scale := 1 / (head - length)
	for i := range column {
		column[i] *= scale
	}
	row[j] = length
	next := t.next[:0]
	for k := j + 1; k < t.m; k++ {
		if t.active[k] || row[k] != 0 {
			t.active[k] = true
			next = append(next, k)
		}
	}
	for ; len(next) >= 4; next = next[4:] {
		t.applyFour(column, [4]int(next), row, tau)
	}
	for _, k := range next {
		row[k] = apply(column, t.columns[k*lotRows:k*lotRows+h], row[k], tau)
	}
	t.right[j] = apply(column, t.columns[t.m*lotRows:t.m*lotRows+h], t.right[j], tau)
}

// apply reflects one column. head is its entry in the triangle's row; apply returns the new entry.
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

// applyFour is apply for four columns at once. It reads the reflection a quarter as often, and its
// four sums do not depend on each other.
func (t *triangle) applyFour(v []float64, columns [4]int, row []float64, tau float64) {
	n := len(v)
	at := func(k int) []float64 { return t.columns[k*lotRows : k*lotRows+n][:len(v)] }
	p, q, r, s := at(columns[0]), at(columns[1]), at(columns[2]), at(columns[3])
	a, b, c, d := row[columns[0]], row[columns[1]], row[columns[2]], row[columns[3]]
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
	row[columns[0]] -= a
	row[columns[1]] -= b
	row[columns[2]] -= c
	row[columns[3]] -= d
}

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

// columnLength returns the Euclidean length of column j of J and D together.
func (t *triangle) columnLength(j int) float64 {
	for k := 0; k <= j; k++ {
		t.scratch[k] = t.upper[k*t.m+j]
	}
	return norm(t.scratch[:j+1])
}

// sine returns the sine of the angle between column j and the space of the columns before
// it; 0 for a column of zeros.
func (t *triangle) sine(j int) float64 {
	l := t.columnLength(j)
	if l == 0 {
		return 0
	}
	return math.Abs(t.upper[j*t.m+j]) / l
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
			if x == 0 {
				continue
			}
			row := c.Row(a)
			for b, y := range column[:a+1] {
				row[b] += x * y
			}
		}
	}
	for a := range m {
		if !(t.columnLength(a)*math.Sqrt(c.At(a, a))*t.rankTolerance() < 1) {
			return nil
		}
		for b := range a {
			c.Data[b*m+a] = c.Data[a*m+b]
		}
	}
	return c
}

// norm returns the Euclidean length, without overflow or underflow of the squares.
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
