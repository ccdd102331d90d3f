package model

import (
	"math"
	"slices"

	"ohmkeep/internal/numeric/leastsquares"
	"ohmkeep/internal/numeric/matrix"
)

// refit is a fit with a resistance held, near another fit whose covariance C is known. Only the sum of squares
// is wanted of it, so that it needs no Jacobian: the unknowns move by −C·g, g being half of the
// gradient of the sum, until gᵀ·C·g is small, by which the sum can still fall (a quasi-Newton method; Nocedal and
// Wright, Numerical Optimization, 2nd ed. 2006, chapter 6). A gradient takes one solution of the adjoint network a
// step, a Jacobian one a reading. The unknowns are taken in scaled coordinates.
type refit struct {
	problem   *problem
	prior     *leastsquares.Prior
	scaled    *scaled
	metric    matrix.Updated // C, with the bounds of what is below zero, and with what the steps showed
	below     []bool         // by bounded: the metric has its bound
	residuals []float64
}

// refitPoint is a point of a refit. The dependent unknown has the mean of its prior, and no derivative.
type refitPoint struct {
	x, y     []float64
	full     []float64 // x with the dependent unknown as it follows
	slope    float64   // its derivative by the other one
	sum      float64
	gradient []float64 // half of the sum's derivatives by y, without bounds
}

const (
	// maxRefits is the largest number of points of a refit. Most need two; a full fit takes as long as a dozen.
	maxRefits = 9
	// maxRefitRate is the largest ratio of the predicted falls at two points. A larger one shows that C is not
	// that of the point. A smaller one above 1 is usual of a first step, which teaches how C differs.
	maxRefitRate = 2.5
	// minRefitAccuracy is the least accuracy of a sum of squares.
	minRefitAccuracy = 0.01
	// maxActiveSets is the largest number of sets of bounds tried for one step.
	maxActiveSets = 10
)

// refit returns the least sum of squares with a resistance held, to about the given accuracy, and the unknowns
// there. ok is false where the steps do not lead there.
func (l *Linear) refit(held *heldResistance, start []float64, accuracy float64) (sum float64, x []float64, ok bool) {
	a := l.Assumptions
	a.held = held
	p := l.Model.problem(a)
	defer p.point.release()
	n, _ := p.Size()
	f := refit{problem: p, prior: p.Prior(a), below: make([]bool, len(p.bounded)), residuals: make([]float64, n),
		scaled: p.scaledAbout(a, l.X, held.dependent)}
	start = f.scaled.unknowns(start) // a step along the parabola of the fit is one of coordinates
	start[held.dependent] = f.prior.Mean[held.dependent]
	if f.metric.Covariance = l.near(p, start); f.metric.Covariance == nil {
		return 0, nil, false
	}
	now, ok := f.evaluate(f.scaled.coordinates(start))
	left := math.Inf(1)
	for n := 0; ok && n < maxRefits; n++ {
		step, fall := f.step(now)
		if !(fall >= 0 && fall <= maxRefitRate*left) {
			break
		}
		rate := math.Sqrt(fall / left)
		if left = fall; fall <= (1-rate)*math.Max(accuracy, minRefitAccuracy) {
			return now.sum - fall, now.full, true
		}
		var next refitPoint
		if next, ok = f.evaluate(minus(now.y, step)); ok {
			f.learn(now, next)
		}
		now = next
	}
	return 0, nil, false
}

func minus(a, b []float64) []float64 {
	difference := slices.Clone(a)
	for j, x := range b {
		difference[j] -= x
	}
	return difference
}

// evaluate returns the point at coordinates. ok is false where the network has no solution.
func (f *refit) evaluate(y []float64) (at refitPoint, ok bool) {
	p := f.problem
	x := f.scaled.unknowns(y)
	for j := range x {
		if j != p.held.dependent {
			x[j] = p.Unknowns[j].inside(x[j])
		}
	}
	at = refitPoint{x: x, y: f.scaled.coordinates(x)}
	var err error
	if at.full, at.slope, err = p.held.whole(x); err != nil || p.Evaluate(x, f.residuals, nil) != nil {
		return at, false
	}
	gradient, err := p.gradient(x)
	if err != nil {
		return at, false
	}
	at.sum = matrix.Dot(f.residuals, f.residuals)
	for j := range x {
		z := (x[j] - f.prior.Mean[j]) / f.prior.Deviation[j]
		at.sum += z * z
		gradient[j] += z / f.prior.Deviation[j]
	}
	at.gradient = f.scaled.gradient(x, at.y, gradient)
	return at, !math.IsNaN(at.sum) && !math.IsInf(at.sum, 0)
}

// step returns the step to the least sum of the parabola at a point, and by how much the sum falls there. Bounds
// are a parabola below zero only: those that the step crosses are in it, those that it leaves are not, and
// which ones these are is found by repetition (the primal-dual active set method; Hintermüller, Ito and
// Kunisch, SIAM J. Optim. 13 (2003) 865).
func (f *refit) step(at refitPoint) (step []float64, fall float64) {
	for range maxActiveSets {
		g := slices.Clone(at.gradient)
		besides := 0.0 // squares of the bounds that are in the parabola and not in the sum, less those the other way round
		for i, j := range f.problem.bounded {
			if z := at.full[j] / boundOhms; f.below[i] {
				f.boundRow(at, j).AddTo(g, z)
				besides += math.Max(z, 0) * z
			} else {
				besides -= math.Min(z, 0) * z
			}
		}
		step = f.metric.Times(g)
		fall = matrix.Dot(step, g) - besides
		to, _, err := f.problem.held.whole(f.scaled.unknowns(minus(at.y, step)))
		if err != nil || !f.setBelow(at, to) {
			break
		}
	}
	return step, fall
}

// setBelow has the bounds of the conductors that are below zero at some unknowns in the metric, with the
// derivatives of a point, and those of no others. It reports whether these were not the same already.
func (f *refit) setBelow(at refitPoint, unknowns []float64) (changed bool) {
	for i, j := range f.problem.bounded {
		below := unknowns[j] < 0
		if below == f.below[i] {
			continue
		}
		f.below[i], changed = below, true
		if below {
			f.metric.Add(f.boundRow(at, j))
		} else {
			f.metric.Remove(f.boundRow(at, j))
		}
	}
	return changed
}

// boundRow returns the derivatives of the bound of an unknown by coordinate.
func (f *refit) boundRow(at refitPoint, unknown int) matrix.Sparse {
	row := make([]float64, len(at.x))
	row[unknown] = 1 / boundOhms
	f.problem.held.carry(row, at.slope)
	return matrix.SparseOf(f.scaled.gradient(at.x, at.y, row), 0)
}

// learn tells the metric how a step changed the gradient. The bounds in the metric are known.
func (f *refit) learn(from, to refitPoint) {
	step, change := minus(to.y, from.y), minus(to.gradient, from.gradient)
	for i, j := range f.problem.bounded {
		if f.below[i] {
			row := f.boundRow(from, j)
			row.AddTo(change, row.Dot(step))
		}
	}
	f.metric.Learn(step, change)
}
