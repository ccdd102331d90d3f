package nextreading

import (
	"math"

	"ohmkeep/internal/numeric/leastsquares"
	"ohmkeep/internal/numeric/matrix"
)

// Posterior is how well candidates and elements will be known as candidates are read
// one by one. A reading narrows the covariance by a rank-one update that does not
// depend on its value. Only what is asked for is kept: the joint covariance of the candidates, each in
// units of its own deviation, and of the elements behind them.
type Posterior struct {
	joint      *leastsquares.Matrix
	candidates int
}

// VariancesAfter gives the variances of elements once all of some candidates are read.
func (o *Outlook) VariancesAfter(list []Candidate, elements []int) []float64 {
	c := o.Covariance.Clone()
	for i := range list {
		matrix.Narrow(c, list[i].row)
	}
	var variances []float64
	for _, k := range elements {
		variances = append(variances, math.Max(matrix.Quadratic(c, o.ExtendRow(o.est.Elements[k].Row)), least))
	}
	return variances
}

// Posterior begins with none of the candidates taken.
func (o *Outlook) Posterior(list []Candidate, elements []int) *Posterior {
	rows := make([][]float64, 0, len(list)+len(elements))
	for i := range list {
		rows = append(rows, list[i].row)
	}
	for _, k := range elements {
		rows = append(rows, o.ExtendRow(o.est.Elements[k].Row))
	}
	x := &Posterior{joint: leastsquares.NewMatrix(len(rows), len(rows)), candidates: len(list)}
	for i, row := range rows {
		along := matrix.Times(o.Covariance, row)
		for j := range i + 1 {
			v := matrix.Dot(along, rows[j])
			x.joint.Row(i)[j], x.joint.Row(j)[i] = v, v
		}
	}
	return x
}

// Subset keeps some of the candidates, in the order given.
func (x *Posterior) Subset(candidates []int) *Posterior {
	keep := append([]int(nil), candidates...)
	for k := x.candidates; k < x.joint.Rows; k++ {
		keep = append(keep, k)
	}
	y := &Posterior{joint: leastsquares.NewMatrix(len(keep), len(keep)), candidates: len(candidates)}
	for a, i := range keep {
		row := y.joint.Row(a)
		for b, j := range keep {
			row[b] = x.joint.At(i, j)
		}
	}
	return y
}

// Variance is that of element k of those expected.
func (x *Posterior) Variance(k int) float64 {
	at := x.candidates + k
	return math.Max(x.joint.At(at, at), least)
}

// least keeps logarithms of variances finite, far below any that means something.
const least = 1e-30

// After is the variance of element k once candidate i is taken.
func (x *Posterior) After(i, k int) float64 {
	at := x.candidates + k
	c := x.joint.At(i, at)
	return math.Max(x.joint.At(at, at)-c*c/(1+x.joint.At(i, i)), least)
}

// afterBoth is that once i and j are.
func (x *Posterior) afterBoth(i, j, k int) float64 {
	at := x.candidates + k
	ci, cj, both := x.joint.At(i, at), x.joint.At(j, at), x.joint.At(i, j)
	own := 1 + x.joint.At(i, i)
	rest := cj - both*ci/own
	return math.Max(x.joint.At(at, at)-ci*ci/own-rest*rest/(1+x.joint.At(j, j)-both*both/own), least)
}

// Take has candidate i read.
func (x *Posterior) Take(i int) { x.update(i, -1/(1+x.joint.At(i, i))) }

// Drop takes candidate i, which was taken, back.
func (x *Posterior) Drop(i int) { x.update(i, 1/(1-x.joint.At(i, i))) }

func (x *Posterior) update(i int, by float64) {
	column := append([]float64(nil), x.joint.Row(i)...)
	for a, c := range column {
		if c == 0 {
			continue
		}
		row := x.joint.Row(a)
		for b, d := range column {
			row[b] += by * c * d
		}
	}
}

// Clone is a copy to try something on.
func (x *Posterior) Clone() *Posterior {
	y := *x
	y.joint = x.joint.Clone()
	return &y
}
