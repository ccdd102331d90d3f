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
// Wright, Numerical Optimization, 2nd ed. 2006, chapter 6). A step that raises the sum is shortened once. Where that is
// not enough, or a sum below zero is predicted, C is not that of the point, and the refit ends. A gradient takes one
// solution of the adjoint network a step, a Jacobian one a reading. The unknowns are taken in scaled coordinates.
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
	// maxRefits is the largest number of steps of a refit. Most need one to five; a full fit takes as long as twenty
	// or more.
	maxRefits = 20
	// minRefitAccuracy is the least accuracy of a sum of squares.
	minRefitAccuracy = 0.01
	// maxActiveSets is the largest number of sets of bounds tried for one step.
	maxActiveSets = 10
)

// refit returns the least sum of squares with a resistance held, to about the given accuracy, and the unknowns
// there. ok is false where the steps do not lead there (see maxRefits and follow).
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
	if !ok {
		return 0, nil, false
	}
	left := math.Inf(1)
	for range maxRefits {
		step, fall := f.step(now)
		if !(fall >= 0 && fall <= now.sum) {
			break
		}
		rate := math.Sqrt(fall / left)
		if fall <= (1-rate)*math.Max(accuracy, minRefitAccuracy) {
			return now.sum - fall, now.full, true
		}
		next, length, ok := f.follow(now, step, fall)
		if !ok {
			break
		}
		f.learn(now, next)
		if left = fall; length < 1 {
			left = 0 // a short step taught the metric too little to end with the next one
		}
		now = next
	}
	return 0, nil, false
}

// follow returns the point at the end of a step, which is predicted to lower the sum by fall. Where the sum is higher
// there, that is the point where the parabola through both sums is lowest; length is then below 1. ok is false where the
// sum is higher there too, or the network has no solution.
func (f *refit) follow(from refitPoint, step []float64, fall float64) (to refitPoint, length float64, ok bool) {
	length = 1
	for range 2 {
		if to, ok = f.evaluate(along(from.y, step, -length)); !ok {
			return to, length, false
		}
		rise := to.sum - from.sum
		if rise <= 0 {
			return to, length, true
		}
		length = fall / (2*fall + rise)
	}
	return to, length, false
}

// along returns the point at a number of steps from another one.
func along(from, step []float64, length float64) []float64 {
	to := slices.Clone(from)
	matrix.AddTo(to, step, length)
	return to
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
		to, _, err := f.problem.held.whole(f.scaled.unknowns(along(at.y, step, -1)))
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
	step, change := along(to.y, from.y, -1), along(to.gradient, from.gradient, -1)
	for i, j := range f.problem.bounded {
		if f.below[i] {
			row := f.boundRow(from, j)
			row.AddTo(change, row.Dot(step))
		}
	}
	f.metric.Learn(step, change)
}
