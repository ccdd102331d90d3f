package leastsquares

import (
	"math"
	"math/bits"
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
	upper   []float64  // m×m, row after row; only on and above the diagonal
	filled  [][]uint64 // by row of upper: the columns after the diagonal that may have entries
	columns []float64  // m+1 columns of lotRows: a lot of J and r, overwritten
	active  []uint64   // the columns in which the lot has entries
	byFirst []int32    // rows of J by their first column
	lot     []int32    // rows of J in the lot
	next    []int      // columns that a reflection changes
	right   []float64  // m: c, then the transformed right-hand side
	scratch []float64  // m
	counts  []int32    // m+1, scratch
	other   sparse     // scratch: the entries of another triangle
}

// lotRows is the number of rows that are added at a time.
const lotRows = 64

func newTriangle(n, m int) *triangle {
	words := (m + 63) / 64
	t := &triangle{n: n, m: m, upper: make([]float64, m*m), filled: make([][]uint64, m), columns: make([]float64, (m+1)*lotRows), active: make([]uint64, words),
		lot: make([]int32, 0, lotRows), next: make([]int, 0, m+1), right: make([]float64, m), scratch: make([]float64, m), counts: make([]int32, m+1)}
	sets := make([]uint64, m*words)
	for j := range t.filled {
		t.filled[j] = sets[j*words : (j+1)*words]
	}
	return t
}

// fold computes the triangle of a Jacobian with residuals r and a diagonal with right-hand side c.
func (t *triangle) fold(jacobian *sparse, residuals, diagonal, c []float64) {
	t.begin(diagonal, c)
	t.absorb(jacobian, residuals)
}

// refold computes the triangle of another triangle, which stands for a Jacobian, and a diagonal
// with a right-hand side of zeros.
func (t *triangle) refold(of *triangle, diagonal []float64) {
	clear(t.scratch)
	t.begin(diagonal, t.scratch)
	of.writeEntries(&t.other)
	t.absorb(&t.other, of.right)
}

// entries returns the triangle in sparse form.
func (t *triangle) entries() *sparse {
	s := &sparse{}
	t.writeEntries(s)
	return s
}

// writeEntries writes the triangle in sparse form.
func (t *triangle) writeEntries(s *sparse) {
	s.clear()
	for j := range t.m {
		row := t.upper[j*t.m : (j+1)*t.m]
		add := func(k int) {
			if row[k] != 0 {
				s.add(k, row[k])
			}
		}
		add(j)
		each(t.filled[j], add)
		s.endRow()
	}
}

// absorb adds rows and their residuals in the order of their first columns. It skips rows of zeros.
func (t *triangle) absorb(j *sparse, residuals []float64) {
	t.sortByFirst(j)
	for column := range t.m {
		for _, i := range t.byFirst[t.counts[column]:t.counts[column+1]] {
			if t.lot = append(t.lot, i); len(t.lot) == lotRows {
				t.foldLot(j, residuals)
			}
		}
		if len(t.lot) >= lotRows/8 {
			t.foldLot(j, residuals) // rows that begin together have most columns in common
		}
	}
	t.foldLot(j, residuals)
}

// sortByFirst lists the rows by their first column, and for each column where its rows begin in
// that list.
func (t *triangle) sortByFirst(j *sparse) {
	clear(t.counts)
	first := func(i int) int32 { return j.at[j.start[i]] }
	n := 0
	for i := range j.rows() {
		if j.start[i] < j.start[i+1] {
			t.counts[first(i)]++
			n++
		}
	}
	at := int32(0)
	for c, size := range t.counts {
		t.counts[c] = at
		at += size
	}
	t.byFirst = slices.Grow(t.byFirst[:0], n)[:n]
	for i := range j.rows() {
		if j.start[i] < j.start[i+1] {
			t.byFirst[t.counts[first(i)]] = int32(i)
			t.counts[first(i)]++
		}
	}
	copy(t.counts[1:], t.counts[:t.m]) // each has moved to the beginning of the next one
	t.counts[0] = 0
}

// foldLot adds the rows of the lot to the triangle.
func (t *triangle) foldLot(j *sparse, residuals []float64) {
	h := len(t.lot)
	if h == 0 {
		return
	}
	last := t.columns[t.m*lotRows:]
	for p, i := range t.lot {
		at, value := j.row(int(i))
		for n, k := range at {
			t.columns[int(k)*lotRows+p] = value[n]
			t.active[k/64] |= 1 << (k % 64)
		}
		last[p] = residuals[i]
	}
	t.lot = t.lot[:0]
	for w := range t.active {
		for t.active[w] != 0 { // a reflection adds only later columns
			k := 64*w + bits.TrailingZeros64(t.active[w])
			t.active[w] &= t.active[w] - 1
			t.reflect(k, h)
			clear(t.columns[k*lotRows : (k+1)*lotRows])
		}
	}
}

// begin starts with a diagonal and its right-hand side.
func (t *triangle) begin(diagonal, c []float64) {
	clear(t.upper)
	for j := range t.m {
		clear(t.filled[j])
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
	for w, set := range t.filled[j] {
		t.active[w] |= set
	}
	copy(t.filled[j], t.active) // it holds later columns only
	next := t.next[:0]
	for w, set := range t.active {
		for ; set != 0; set &= set - 1 {
			next = append(next, 64*w+bits.TrailingZeros64(set))
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
