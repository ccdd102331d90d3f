package nextreading

import (
	"math"

	"ohmkeep/internal/numeric/leastsquares"
	"ohmkeep/internal/numeric/matrix"
)

// Posterior holds the covariance of candidates and elements as candidates are read one by one. A
// reading reduces the covariance by a rank-one update that does not depend on its value. It keeps
// only the joint covariance of the candidates, each in units of its own deviation, and of the
// elements.
type Posterior struct {
	joint      *leastsquares.Matrix
	candidates int
}

// VariancesAfter returns the variances of elements once all of some candidates are read.
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

// Posterior returns the posterior before any of the candidates is read.
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

// Subset returns the posterior of some of the candidates, in the order given.
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

// Variance returns the variance of element k.
func (x *Posterior) Variance(k int) float64 {
	at := x.candidates + k
	return math.Max(x.joint.At(at, at), least)
}

// least is a lower bound that keeps logarithms of variances finite. It is far below any variance
// that matters.
const least = 1e-30

// After returns the variance of element k once candidate i is read.
func (x *Posterior) After(i, k int) float64 {
	at := x.candidates + k
	c := x.joint.At(i, at)
	return math.Max(x.joint.At(at, at)-c*c/(1+x.joint.At(i, i)), least)
}

// afterBoth returns the variance once candidates i and j are read.
func (x *Posterior) afterBoth(i, j, k int) float64 {
	at := x.candidates + k
	ci, cj, both := x.joint.At(i, at), x.joint.At(j, at), x.joint.At(i, j)
	own := 1 + x.joint.At(i, i)
	rest := cj - both*ci/own
	return math.Max(x.joint.At(at, at)-ci*ci/own-rest*rest/(1+x.joint.At(j, j)-both*both/own), least)
}

// Take updates the covariance for a reading of candidate i.
func (x *Posterior) Take(i int) { x.update(i, -1/(1+x.joint.At(i, i))) }

// Drop undoes Take for candidate i.
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

// Clone returns a copy.
func (x *Posterior) Clone() *Posterior {
	y := *x
	y.joint = x.joint.Clone()
	return &y
}
