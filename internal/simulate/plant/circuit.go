package plant

import (
	"errors"
	"math"
)

// A circuit is a resistive network with nonlinear loads between pairs of nodes,
// solved by nodal analysis: at every node the currents sum to zero. Each Newton
// step is one elimination of the conductance matrix in the order of the nodes, so
// nodes that stand in a chain should be numbered along it.
type circuit struct {
	fixed  []row     // conductances that no voltage changes
	source []float64 // A into each node
	loads  []load
}

// A load draws amps(v) from node plus into node minus, v = V(plus) − V(minus).
type load struct {
	plus, minus int
	law         *law
	factor      float64 // on the current of the law
}

// row is the part of a symmetric matrix at and to the right of its diagonal.
type row struct {
	diagonal float64
	right    []entry
}

type entry struct {
	column int
	value  float64
}

func (r *row) add(column int, value float64) {
	for i := range r.right {
		if r.right[i].column == column {
			r.right[i].value += value
			return
		}
	}
	r.right = append(r.right, entry{column, value})
}

// leak is a conductance from each node to the reference, in siemens. It gives nodes
// that nothing feeds a potential, and is less than any insulation has.
const leak = 1e-9

func newCircuit(nodes int) *circuit {
	c := &circuit{fixed: make([]row, nodes), source: make([]float64, nodes)}
	for i := range c.fixed {
		c.fixed[i].diagonal = leak
	}
	return c
}

// conduct joins two nodes by a resistance in Ω; +Inf joins them by nothing.
func (c *circuit) conduct(a, b int, ohms float64) {
	if math.IsInf(ohms, 1) {
		return
	}
	stamp(c.fixed, a, b, 1/ohms)
}

// stamp adds a conductance between two nodes to a matrix.
func stamp(matrix []row, a, b int, siemens float64) {
	matrix[a].diagonal += siemens
	matrix[b].diagonal += siemens
	matrix[min(a, b)].add(max(a, b), -siemens)
}

// supply drives a node pair with a voltage behind a resistance.
func (c *circuit) supply(plus, minus int, volts, ohms float64) {
	c.conduct(plus, minus, ohms)
	c.source[plus] += volts / ohms
	c.source[minus] -= volts / ohms
}

// errUnsettled is returned where no state of the network is found.
var errUnsettled = errors.New("the network has no steady state near its full voltage")

// solve changes the potentials from a first guess to those at which all currents
// balance, by Newton's method; a step that leaves more imbalance is halved.
func (c *circuit) solve(volts []float64) error {
	const settled = 1e-10 // V
	excess := c.imbalance(volts)
	before := norm(excess)
	for range 100 {
		step := c.newton(volts, excess)
		size := 0.0
		for _, d := range step {
			size = math.Max(size, math.Abs(d))
		}
		if math.IsNaN(size) {
			return errUnsettled
		}
		part, next := 1.0, []float64(nil)
		for range 12 {
			next = make([]float64, len(volts))
			for i := range next {
				next[i] = volts[i] + part*step[i]
			}
			if excess = c.imbalance(next); norm(excess) < before || part*size < settled {
				break
			}
			part /= 2
		}
		copy(volts, next)
		before = norm(excess)
		if part == 1 && size < settled {
			return nil
		}
	}
	return errUnsettled
}

func norm(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	return math.Sqrt(sum)
}

// imbalance returns the current that flows into each node and not out of it, in A.
func (c *circuit) imbalance(volts []float64) []float64 {
	in := append([]float64(nil), c.source...)
	for i := range c.fixed {
		in[i] -= c.fixed[i].diagonal * volts[i]
		for _, e := range c.fixed[i].right {
			in[i] -= e.value * volts[e.column]
			in[e.column] -= e.value * volts[i]
		}
	}
	for _, l := range c.loads {
		amps, _ := l.law.current(volts[l.plus] - volts[l.minus])
		in[l.plus] -= l.factor * amps
		in[l.minus] += l.factor * amps
	}
	return in
}

// newton returns the change of the potentials that would balance the currents if
// every load were as steep everywhere as it is here.
func (c *circuit) newton(volts, excess []float64) []float64 {
	matrix := make([]row, len(c.fixed))
	for i, r := range c.fixed {
		matrix[i] = row{r.diagonal, append(make([]entry, 0, len(r.right)+4), r.right...)}
	}
	for _, l := range c.loads {
		_, slope := l.law.current(volts[l.plus] - volts[l.minus])
		stamp(matrix, l.plus, l.minus, l.factor*slope)
	}
	return eliminate(matrix, excess)
}

// eliminate solves a symmetric system by Gauss's method, in the order of its rows.
func eliminate(matrix []row, right []float64) []float64 {
	x := append([]float64(nil), right...)
	for k := range matrix {
		pivot := matrix[k]
		for i, a := range pivot.right {
			part := a.value / pivot.diagonal
			x[a.column] -= part * x[k]
			matrix[a.column].diagonal -= part * a.value
			for _, b := range pivot.right[i+1:] {
				matrix[min(a.column, b.column)].add(max(a.column, b.column), -part*b.value)
			}
		}
	}
	for k := len(matrix) - 1; k >= 0; k-- {
		for _, a := range matrix[k].right {
			x[k] -= a.value * x[a.column]
		}
		x[k] /= matrix[k].diagonal
	}
	return x
}
