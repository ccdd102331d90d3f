package nextreading

import (
	"math"

	"ohmkeep/internal/numeric/leastsquares"
	"ohmkeep/internal/numeric/matrix"
)

// Posterior holds the variances of candidates and elements, and their covariances, as candidates
// are read one by one. A reading reduces the covariance by a rank-one update that does not depend
// on its value. All functions of the unknowns are whitened, see matrix.Root, and candidates are in
// units of their own deviation.
type Posterior struct {
	readings, elements []matrix.Sparse
	own                []float64            // variance of each candidate
	variances          []float64            // of each element
	shared             *leastsquares.Matrix // covariances: a row for each candidate, a column for each element
	updates            []update             // of the covariance of the whitened unknowns, which was the unit matrix
	unknowns           int
}

// update is one change of the covariance of the whitened unknowns, by sign·along·alongᵀ.
type update struct {
	along []float64
	sign  float64
}

// whitener returns the root of the covariance, which is computed once.
func (o *Outlook) whitener() *matrix.Root {
	if o.root == nil {
		o.root = matrix.RootOf(o.Covariance)
	}
	return o.root
}

// whitened returns some candidates and elements as functions of the whitened unknowns.
func (o *Outlook) whitened(list []Candidate, elements []int) (readings, functions []matrix.Sparse) {
	root := o.whitener()
	for i := range list {
		readings = append(readings, root.Whiten(list[i].row))
	}
	for _, k := range elements {
		functions = append(functions, root.Whiten(o.est.Elements[k].Row))
	}
	return readings, functions
}

// VariancesAfter returns the variances of elements once all of some candidates are read.
func (o *Outlook) VariancesAfter(list []Candidate, elements []int) []float64 {
	readings, functions := o.whitened(list, elements)
	information := o.informationOf(readings)
	var variances []float64
	for _, f := range functions {
		variances = append(variances, math.Max(information.Variance(f), least))
	}
	return variances
}

func (o *Outlook) informationOf(readings []matrix.Sparse) *matrix.Information {
	sum := matrix.NewInformation(len(o.X))
	for _, r := range readings {
		sum.Add(r)
	}
	return sum
}

// Posterior returns the posterior before any of the candidates is read.
func (o *Outlook) Posterior(list []Candidate, elements []int) *Posterior {
	readings, functions := o.whitened(list, elements)
	return newPosterior(len(o.X), readings, functions)
}

// PosteriorAfter returns the posterior once all of the candidates are read. It is more accurate
// than taking one after the other.
func (o *Outlook) PosteriorAfter(list []Candidate, elements []int) *Posterior {
	readings, functions := o.whitened(list, elements)
	information := o.informationOf(readings)
	for _, whitened := range [][]matrix.Sparse{readings, functions} {
		for i, f := range whitened {
			whitened[i] = information.Whiten(f)
		}
	}
	return newPosterior(len(o.X), readings, functions)
}

// newPosterior returns the posterior of candidates and elements as functions of n whitened
// unknowns.
func newPosterior(n int, readings, elements []matrix.Sparse) *Posterior {
	x := &Posterior{unknowns: n, readings: readings, elements: elements, shared: leastsquares.NewMatrix(len(readings), len(elements))}
	for _, f := range elements {
		x.variances = append(x.variances, f.Square())
	}
	dense := make([]float64, n)
	for i, r := range readings {
		x.own = append(x.own, r.Square())
		clear(dense)
		r.AddTo(dense, 1)
		for k, f := range elements {
			x.shared.Row(i)[k] = f.Dot(dense)
		}
	}
	return x
}

// Subset returns the posterior of some of the candidates, in the order given.
func (x *Posterior) Subset(candidates []int) *Posterior {
	y := &Posterior{unknowns: x.unknowns, elements: x.elements, variances: append([]float64(nil), x.variances...), updates: x.updates,
		shared: leastsquares.NewMatrix(len(candidates), len(x.elements))}
	for a, i := range candidates {
		y.readings, y.own = append(y.readings, x.readings[i]), append(y.own, x.own[i])
		copy(y.shared.Row(a), x.shared.Row(i))
	}
	return y
}

// Candidates returns the number of candidates.
func (x *Posterior) Candidates() int { return len(x.readings) }

// Variance returns the variance of element k.
func (x *Posterior) Variance(k int) float64 { return math.Max(x.variances[k], least) }

// least is a lower bound that keeps logarithms of variances finite. It is far below any variance
// that matters.
const least = 1e-30

// After returns the variance of element k once candidate i is read.
func (x *Posterior) After(i, k int) float64 {
	c := x.shared.At(i, k)
	return math.Max(x.variances[k]-c*c/(1+x.own[i]), least)
}

// afterBoth returns the variance of element k once candidates i and j are read, whose covariance is
// both.
func (x *Posterior) afterBoth(i, j int, both float64, k int) float64 {
	ci, cj := x.shared.At(i, k), x.shared.At(j, k)
	own := 1 + x.own[i]
	rest := cj - both*ci/own
	return math.Max(x.variances[k]-ci*ci/own-rest*rest/(1+x.own[j]-both*both/own), least)
}

// covariances returns the covariance of candidate i with others.
func (x *Posterior) covariances(i int, others []int) []float64 {
	along := x.along(i)
	list := make([]float64, len(others))
	for n, j := range others {
		list[n] = x.readings[j].Dot(along)
	}
	return list
}

// along returns the covariance of candidate i with each whitened unknown.
func (x *Posterior) along(i int) []float64 {
	along := make([]float64, x.unknowns)
	x.readings[i].AddTo(along, 1)
	for _, u := range x.updates {
		by := u.sign * x.readings[i].Dot(u.along)
		if by == 0 {
			continue
		}
		for j, d := range u.along {
			along[j] += by * d
		}
	}
	return along
}

// Take updates the covariance for a reading of candidate i.
func (x *Posterior) Take(i int) { x.update(i, -1, 1+x.own[i]) }

// Drop undoes Take for candidate i.
func (x *Posterior) Drop(i int) { x.update(i, 1, 1-x.own[i]) }

// update adds sign·c·cᵀ/over to the covariance, c being the covariance with candidate i.
func (x *Posterior) update(i int, sign, over float64) {
	along := x.along(i)
	for j := range along {
		along[j] /= math.Sqrt(over)
	}
	x.updates = append(x.updates[:len(x.updates):len(x.updates)], update{along, sign})
	changes := make([]float64, len(x.elements))
	for k, f := range x.elements {
		changes[k] = f.Dot(along)
		x.variances[k] += sign * changes[k] * changes[k]
	}
	for j, r := range x.readings {
		change := sign * r.Dot(along)
		if math.Abs(change) < negligible {
			continue
		}
		x.own[j] += sign * change * change
		row := x.shared.Row(j)
		for k, c := range changes {
			row[k] += change * c
		}
	}
}

// negligible is the change of a covariance with a reading, as a part of both deviations, that is
// left out.
const negligible = 1e-14

// Clone returns a copy.
func (x *Posterior) Clone() *Posterior {
	y := *x
	y.own, y.variances = append([]float64(nil), x.own...), append([]float64(nil), x.variances...)
	y.shared = x.shared.Clone()
	return &y
}
