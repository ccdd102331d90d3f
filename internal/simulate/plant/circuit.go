package plant

import (
	"errors"
	"math"
)

// A circuit is a resistive network with nonlinear loads between pairs of nodes,
// solved by nodal analysis: at every node the currents sum to zero. Each Newton
// step is one elimination of the conductance matrix in the order of the nodes, so
// nodes that stand in a chain should be numbered along it. The matrices keep the
// places of their entries from one solution to the next.
type circuit struct {
	fixed  []row     // conductances that no voltage changes
	source []float64 // A into each node
	loads  []load

	matrix       []row // of a Newton step; its rows begin with the entries of fixed
	excess, next []float64
}

// A load draws amps(v) from node plus into node minus, v = V(plus) − V(minus).
type load struct {
	plus, minus int
	law         *law
	factor      float64 // on the current of the law
	siemens     float64 // its slope where the imbalance was last computed
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
	c := &circuit{fixed: make([]row, nodes), source: make([]float64, nodes), matrix: make([]row, nodes),
		excess: make([]float64, nodes), next: make([]float64, nodes)}
	c.clear()
	return c
}

// clear removes all conductances, sources and loads.
func (c *circuit) clear() {
	for i := range c.fixed {
		c.fixed[i].diagonal = leak
		for k := range c.fixed[i].right {
			c.fixed[i].right[k].value = 0
		}
		c.source[i] = 0
	}
	c.loads = c.loads[:0]
}

// conduct joins two nodes by a resistance in Ω; +Inf joins them by nothing.
func (c *circuit) conduct(a, b int, ohms float64) { stamp(c.fixed, a, b, 1/ohms) }

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
	// The error of a Newton step is of the order of its square over a volt.
	const settled = 1e-7 // V
	c.imbalance(volts)
	before := norm(c.excess)
	for range 100 {
		step := c.newton()
		size := 0.0
		for _, d := range step {
			size = math.Max(size, math.Abs(d))
		}
		if math.IsNaN(size) {
			return errUnsettled
		}
		part, after := 1.0, 0.0
		for range 12 {
			for i := range c.next {
				c.next[i] = volts[i] + part*step[i]
			}
			c.imbalance(c.next)
			if after = norm(c.excess); after < before || part*size < settled {
				break
			}
			part /= 2
		}
		copy(volts, c.next)
		before = after
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

// imbalance computes the current that flows into each node and not out of it, in A, and the
// slope of each load.
func (c *circuit) imbalance(volts []float64) {
	in := c.excess
	copy(in, c.source)
	for i := range c.fixed {
		in[i] -= c.fixed[i].diagonal * volts[i]
		for _, e := range c.fixed[i].right {
			in[i] -= e.value * volts[e.column]
			in[e.column] -= e.value * volts[i]
		}
	}
	for i := range c.loads {
		l := &c.loads[i]
		amps, slope := l.law.current(volts[l.plus] - volts[l.minus])
		in[l.plus] -= l.factor * amps
		in[l.minus] += l.factor * amps
		l.siemens = l.factor * slope
	}
}

// newton returns the change of the potentials that would balance the currents if
// every load were as steep everywhere as it is here.
func (c *circuit) newton() []float64 {
	for i, r := range c.fixed {
		m := &c.matrix[i]
		m.diagonal = r.diagonal
		for k := range m.right {
			m.right[k].value = 0
		}
		for k, e := range r.right {
			if k < len(m.right) && m.right[k].column == e.column {
				m.right[k].value = e.value
			} else {
				m.add(e.column, e.value)
			}
		}
	}
	for _, l := range c.loads {
		stamp(c.matrix, l.plus, l.minus, l.siemens)
	}
	return eliminate(c.matrix, c.excess)
}

// eliminate solves a symmetric system by Gauss's method, in the order of its rows. It
// replaces the right-hand side by the solution.
func eliminate(matrix []row, x []float64) []float64 {
	for k := range matrix {
		pivot := &matrix[k]
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
