package estimate

import "ohmkeep/internal/leastsquares"

// No conductor has less than no resistance. An estimate of one may, by what the readings
// are off, and the fit lets it, so that its errors stay Gaussian. But where rails have two
// ways to share, a plus of −40 mΩ and a minus of +50 mΩ explain the readings as well as
// two of 5 mΩ do, and no verdict may hang on such a joint. Where the sum of squares is
// looked at far from the fit, walls stand at zero: one more residual for each conductor
// of a joint or feed, its ohms below zero over wallOhms.
const wallOhms = 0.001

// behind lists the conductors that have a wall at zero.
func (p *problem) behind() (list []int) {
	for j, u := range p.unknowns {
		if u.what == jointRail || u.what == feedRail {
			list = append(list, j)
		}
	}
	return list
}

// evaluateWalls writes the walls' residuals behind those of the reels.
func (p *problem) evaluateWalls(x, residuals []float64, jacobian *leastsquares.Matrix) {
	first := len(p.observations) + len(p.splits) + len(p.alikes)
	for i, j := range p.walls {
		low := min(x[j], 0)
		residuals[first+i] = low / wallOhms
		if jacobian == nil {
			continue
		}
		row := jacobian.Row(first + i)
		clear(row)
		if low < 0 {
			row[j] = 1 / wallOhms
		}
	}
}

// farBelow tells whether a fit has a conductor so far below nothing that it says little of
// what a run with none has.
func (p *problem) farBelow(fit *leastsquares.Fit) bool {
	for _, j := range p.behind() {
		if fit.X[j] < -far {
			return true
		}
	}
	return false
}

// far is Ω; what readings are off by takes sound joints down to a milliohm or two.
const far = 0.005

// walled is a fit between walls from the first of some starts from which it settles, with
// the covariance that it has without them: a conductor at its wall is not known to be
// there. It is nil where it settles from none.
func (p *problem) walled(starts ...[]float64) *leastsquares.Fit {
	for _, start := range starts {
		at := append([]float64(nil), start...)
		p.walls = p.behind()
		for _, j := range p.walls {
			at[j] = max(at[j], 0)
		}
		fit, err := p.solveWithin(at, patientSteps)
		p.walls = nil
		if err != nil || !fit.Converged {
			continue
		}
		if fit, err = leastsquares.At(p, fit.X, p.prior()); err == nil {
			fit.Converged = true
			return fit
		}
	}
	return nil
}

// physical is the best account in which no conductor has less than no resistance, and
// its sum of squares; nil where none was found. It is the fit itself where that is one.
func (e *Estimate) physical() ([]float64, float64) {
	if e.within != nil || e.nowhere {
		return e.within, e.withinSum
	}
	p := e.problem
	e.within, e.withinSum = e.x, e.sum
	for _, j := range p.behind() {
		if e.x[j] >= 0 {
			continue
		}
		p.walls = p.behind()
		defer func() { p.walls = nil }()
		fit, err := p.solveTo(e.x, leastsquares.Options{Tolerance: heldTolerance, MaxIterations: wallSteps})
		if err != nil || !fit.Converged {
			e.within, e.nowhere = nil, true
			break
		}
		e.within, e.withinSum = fit.X, fit.SumSquares
		break
	}
	return e.within, e.withinSum
}

// wallSteps is for fits between walls, which go round corners.
const wallSteps = 20

// heldWithin is heldAt between walls, from the first of some starts from which the fit
// settles; false where it does from none.
func (p *problem) heldWithin(x *Element, value float64, starts ...[]float64) (least float64, ok bool) {
	p.pin, p.walls = &pin{of: x.at, value: value}, p.behind()
	defer func() { p.pin, p.walls = nil, nil }()
	for _, start := range starts {
		fit, err := p.solveTo(start, leastsquares.Options{Tolerance: heldTolerance, MaxIterations: wallSteps})
		if err == nil && fit.Converged {
			p.heldX = fit.X
			return fit.SumSquares, true
		}
	}
	return 0, false
}

// shared is an account with an element at a value, its rails sharing it as they do in
// another account, and no conductor below zero.
func (p *problem) shared(x *Element, value float64, from []float64) []float64 {
	at := append([]float64(nil), from...)
	for _, j := range p.behind() {
		at[j] = max(at[j], 0)
	}
	if s := x.shares; s != nil && s.bent {
		sum := at[s.at[0]] + at[s.at[1]]
		for _, j := range s.at {
			part := 0.5
			if sum > 0 {
				part = at[j] / sum
			}
			at[j] = bend(part * unbend(value))
		}
	}
	return at
}
