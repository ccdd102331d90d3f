package leastsquares

import "math/bits"

// ordered is a model whose parameters are in an order that keeps its triangle sparse.
type ordered struct {
	model Model
	order []int    // by position: the parameter
	place []int    // by parameter: its position
	set   []uint64 // scratch: positions
	x     []float64
	plain *Matrix   // the Jacobian in the model's own order
	start []float64 // residuals at the start; nil once returned by Evaluate
	// entries is how many entries of the Jacobian at the start are not zero.
	entries int
}

// inOrder evaluates a model at x and returns it with its parameters in the order leastDegree of
// its Jacobian. The first call of Evaluate must be at x. It returns an error where the model
// cannot be evaluated there.
func inOrder(m Model, x []float64) (*ordered, error) {
	n, k := m.Size()
	o := &ordered{model: m, x: make([]float64, k), plain: NewMatrix(n, k), start: make([]float64, n)}
	if err := m.Evaluate(x, o.start, o.plain); err != nil {
		return nil, err
	}
	o.arrangeBy(leastDegree(o.plain))
	for _, d := range o.plain.Data {
		if d != 0 {
			o.entries++
		}
	}
	return o, nil
}

// evaluate is Model.Evaluate with x and the columns of the Jacobian in order.
func (o *ordered) evaluate(x, residuals []float64, jacobian *sparse) error {
	o.restore(x, o.x)
	if o.start != nil {
		copy(residuals, o.start)
		o.start = nil
	} else if err := o.model.Evaluate(o.x, residuals, o.plain); err != nil {
		return err
	}
	jacobian.clear()
	for i := range o.plain.Rows {
		row := o.plain.Row(i)
		for j, d := range row {
			if d != 0 {
				o.set[o.place[j]/64] |= 1 << (o.place[j] % 64)
			}
		}
		each(o.set, func(place int) { jacobian.add(place, row[o.order[place]]) })
		clear(o.set)
		jacobian.endRow()
	}
	return nil
}

// arrangeBy sets the order.
func (o *ordered) arrangeBy(order []int) {
	o.order, o.place, o.set = order, make([]int, len(order)), make([]uint64, (len(order)+63)/64)
	for place, j := range order {
		o.place[j] = place
	}
}

// arrange writes values by parameter in order.
func (o *ordered) arrange(values []float64) []float64 {
	list := make([]float64, len(values))
	for place, j := range o.order {
		list[place] = values[j]
	}
	return list
}

// restore writes values in order by parameter.
func (o *ordered) restore(list, values []float64) {
	for place, j := range o.order {
		values[j] = list[place]
	}
}

// prior returns a prior in order.
func (o *ordered) prior(p *Prior) *Prior {
	if p == nil {
		return nil
	}
	return &Prior{Mean: o.arrange(p.Mean), Deviation: o.arrange(p.Deviation)}
}

// fit returns a fit of the ordered model in the model's own order.
func (o *ordered) fit(f *Fit) *Fit {
	x := make([]float64, len(f.X))
	o.restore(f.X, x)
	f.X, f.Jacobian = x, o.plain
	if f.Covariance != nil {
		c := NewMatrix(len(x), len(x))
		for a, j := range o.order {
			o.restore(f.Covariance.Row(a), c.Row(j))
		}
		f.Covariance = c
	}
	return f
}

// leastDegree returns the columns of a Jacobian in an order of elimination: next is the column that
// shares rows with the fewest remaining ones (Tinney and Walker, Proc. IEEE 55 (1967) 1801, scheme
// 2), and of equal ones the first.
func leastDegree(jacobian *Matrix) []int {
	k := jacobian.Cols
	words := (k + 63) / 64
	shared := make([]uint64, k*words) // by column: the columns that it shares rows with
	of := func(j int) []uint64 { return shared[j*words : (j+1)*words] }
	row := make([]uint64, words)
	for i := range jacobian.Rows {
		clear(row)
		for j, d := range jacobian.Row(i) {
			if d != 0 {
				row[j/64] |= 1 << (j % 64)
			}
		}
		each(row, func(j int) { join(of(j), row) })
	}
	degree := make([]int, k)
	count := func(j int) {
		of(j)[j/64] &^= 1 << (j % 64)
		degree[j] = 0
		for _, w := range of(j) {
			degree[j] += bits.OnesCount64(w)
		}
	}
	for j := range k {
		count(j)
	}
	order := make([]int, 0, k)
	for range k {
		least := -1
		for j, d := range degree {
			if d >= 0 && (least < 0 || d < degree[least]) {
				least = j
			}
		}
		order = append(order, least)
		degree[least] = -1
		each(of(least), func(j int) {
			join(of(j), of(least))
			of(j)[least/64] &^= 1 << (least % 64)
			count(j)
		})
	}
	return order
}

// each calls do for every column of a set, ascending.
func each(set []uint64, do func(j int)) {
	for at, w := range set {
		for ; w != 0; w &= w - 1 {
			do(64*at + bits.TrailingZeros64(w))
		}
	}
}

func join(set, more []uint64) {
	for at, w := range more {
		set[at] |= w
	}
}
