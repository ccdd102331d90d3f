// Package ldl factorises sparse symmetric matrices as L·D·Lᵀ.
//
// The pattern is analysed once; factorising and solving then allocate nothing.
// There is no pivoting for size. The matrices are those of nodal equations with voltage
// sources, which are quasi-definite: any order gives nonzero pivots in which the current of
// each voltage source follows its own node. The argument head of Analyse fixes that part of
// the order; the other unknowns are eliminated by least degree (Tinney and Walker, Proc. IEEE
// 55 (1967) 1801, scheme 2).
package ldl

import (
	"container/heap"
	"math"
	"sort"
)

// Pattern holds which entries of a matrix may be nonzero.
type Pattern struct {
	n     int
	edges []map[int]bool
}

// NewPattern returns the pattern of a diagonal matrix of n unknowns.
func NewPattern(n int) *Pattern {
	p := &Pattern{n: n, edges: make([]map[int]bool, n)}
	for i := range p.edges {
		p.edges[i] = map[int]bool{}
	}
	return p
}

// Couple marks the pair (i, j) as possibly nonzero.
func (p *Pattern) Couple(i, j int) {
	if i != j {
		p.edges[i][j] = true
		p.edges[j][i] = true
	}
}

// Matrix is a symmetric matrix of a fixed pattern, and its factors.
type Matrix struct {
	n     int
	place []int32           // by unknown: its position in the order of elimination
	order []int32           // by position: the unknown
	start []int32           // by position: its first entry in later
	later []int32           // positions of the matrix rows below the diagonal, ascending
	index []map[int32]int32 // by position: index in later of each of them
	fills []int32           // for each position and pair of its entries: the entry their product is subtracted from

	diagonal, lower     []float64 // as assembled
	pivot, factor, work []float64 // as factorised
}

// Analyse fixes the order of elimination. The unknowns of head come first, in
// that order.
func (p *Pattern) Analyse(head []int) *Matrix {
	m := &Matrix{n: p.n, place: make([]int32, p.n), order: make([]int32, 0, p.n)}
	below := p.eliminate(head, m)
	m.layout(below)
	m.plan()
	return m
}

// eliminate chooses the order and returns for each position the unknowns that are
// coupled to it and come later.
func (p *Pattern) eliminate(head []int, m *Matrix) [][]int {
	below := make([][]int, 0, p.n)
	done := make([]bool, p.n)
	queue := &byDegree{}
	take := func(i int) {
		done[i] = true
		m.place[i] = int32(len(m.order))
		m.order = append(m.order, int32(i))
		var rest []int
		for j := range p.edges[i] {
			rest = append(rest, j)
		}
		sort.Ints(rest)
		for a, j := range rest {
			delete(p.edges[j], i)
			for _, k := range rest[a+1:] {
				p.edges[j][k] = true
				p.edges[k][j] = true
			}
		}
		for _, j := range rest {
			heap.Push(queue, degree{j, len(p.edges[j])})
		}
		below = append(below, rest)
	}
	for _, i := range head {
		take(i)
	}
	for i := range p.n {
		if !done[i] {
			heap.Push(queue, degree{i, len(p.edges[i])})
		}
	}
	for queue.Len() > 0 {
		next := heap.Pop(queue).(degree)
		if !done[next.unknown] && next.size == len(p.edges[next.unknown]) {
			take(next.unknown)
		}
	}
	return below
}

// layout lists the entries below each pivot by position.
func (m *Matrix) layout(below [][]int) {
	m.start = make([]int32, m.n+1)
	m.index = make([]map[int32]int32, m.n)
	for k, rest := range below {
		turns := make([]int32, len(rest))
		for a, j := range rest {
			turns[a] = m.place[j]
		}
		sort.Slice(turns, func(a, b int) bool { return turns[a] < turns[b] })
		m.index[k] = make(map[int32]int32, len(turns))
		for _, t := range turns {
			m.index[k][t] = int32(len(m.later))
			m.later = append(m.later, t)
		}
		m.start[k+1] = int32(len(m.later))
	}
	m.diagonal = make([]float64, m.n)
	m.pivot = make([]float64, m.n)
	m.work = make([]float64, m.n)
	m.lower = make([]float64, len(m.later))
	m.factor = make([]float64, len(m.later))
}

// plan looks up the entry that each product of the elimination is subtracted from, so that
// factorising needs no search.
func (m *Matrix) plan() {
	for k := range m.n {
		rows := m.later[m.start[k]:m.start[k+1]]
		for a, i := range rows {
			for _, j := range rows[a+1:] {
				m.fills = append(m.fills, m.index[i][j])
			}
		}
	}
}

// Slot identifies one entry of the matrix for Add; a negative one is on the diagonal.
type Slot int32

// Slot returns the slot of entry (i, j), which must be in the pattern.
func (m *Matrix) Slot(i, j int) Slot {
	a, b := m.place[i], m.place[j]
	if a == b {
		return Slot(-1 - a)
	}
	if a > b {
		a, b = b, a
	}
	return Slot(m.index[a][b])
}

// Clear makes all entries zero.
func (m *Matrix) Clear() {
	clear(m.diagonal)
	clear(m.lower)
}

// Add adds x to an entry.
func (m *Matrix) Add(s Slot, x float64) {
	if s < 0 {
		m.diagonal[-1-s] += x
		return
	}
	m.lower[s] += x
}

// Factorise computes the factors of the matrix as assembled. It returns the
// number of negative pivots, and false where a pivot is zero or not a number.
func (m *Matrix) Factorise() (negative int, ok bool) {
	copy(m.pivot, m.diagonal)
	copy(m.factor, m.lower)
	fill := 0
	for k := range m.n {
		d := m.pivot[k]
		if d < 0 {
			negative++
		}
		if d == 0 || math.IsNaN(d) || math.IsInf(d, 0) {
			return negative, false
		}
		inverse := 1 / d
		from, to := m.start[k], m.start[k+1]
		for a := from; a < to; a++ {
			value := m.factor[a]
			scaled := value * inverse
			m.pivot[m.later[a]] -= scaled * value
			for b := a + 1; b < to; b++ {
				m.factor[m.fills[fill]] -= scaled * m.factor[b]
				fill++
			}
		}
		for a := from; a < to; a++ {
			m.factor[a] *= inverse
		}
	}
	return negative, true
}

// Solve overwrites x, the right-hand side by unknown, with the solution.
func (m *Matrix) Solve(x []float64) {
	y := m.work
	for i, t := range m.place {
		y[t] = x[i]
	}
	for k := range m.n {
		if y[k] == 0 {
			continue // as most are where x has few entries
		}
		for a := m.start[k]; a < m.start[k+1]; a++ {
			y[m.later[a]] -= m.factor[a] * y[k]
		}
	}
	for k := m.n - 1; k >= 0; k-- {
		sum := y[k] / m.pivot[k]
		for a := m.start[k]; a < m.start[k+1]; a++ {
			sum -= m.factor[a] * y[m.later[a]]
		}
		y[k] = sum
	}
	for i, t := range m.place {
		x[i] = y[t]
	}
}

// degree is an unknown and the number of its neighbours when it was queued.
type degree struct{ unknown, size int }

// byDegree is a heap of unknowns, least degree first, then by number so that the
// order is the same each time.
type byDegree []degree

func (h byDegree) Len() int      { return len(h) }
func (h byDegree) Swap(i, j int) { h[i], h[j] = h[j], h[i] }
func (h byDegree) Less(i, j int) bool {
	if h[i].size != h[j].size {
		return h[i].size < h[j].size
	}
	return h[i].unknown < h[j].unknown
}
func (h *byDegree) Push(x any) { *h = append(*h, x.(degree)) }
func (h *byDegree) Pop() any {
	last := (*h)[len(*h)-1]
	*h = (*h)[:len(*h)-1]
	return last
}
