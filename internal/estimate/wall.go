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

// heldWithin is heldAt between walls, from the first of some starts from which the fit
// settles; false where it does from none.
func (p *problem) heldWithin(of Function, value float64, starts ...[]float64) (least float64, ok bool) {
	p.pin, p.walls = &pin{of: of, value: value}, p.behind()
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
func (p *problem) shared(s *split, value float64, from []float64) []float64 {
	at := p.raised(from)
	if s != nil && s.bent {
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

// wallSteps is for fits between walls that only tell a sum of squares; they go round corners.
const wallSteps = 20

// walled fits between walls at zero, from a start that may lie behind them.
func (p *problem) walled(start []float64, opt leastsquares.Options) (*leastsquares.Fit, error) {
	p.walls = p.behind()
	defer func() { p.walls = nil }()
	return p.solveTo(start, opt)
}

// physical is the best account near a place in which no conductor has less than no
// resistance, and its sum of squares; nil where no fit settled. It is the place itself where
// that is one.
func (l *linear) physical() ([]float64, float64) {
	for _, j := range l.problem.behind() {
		if l.x[j] >= 0 {
			continue
		}
		fit, err := l.problem.walled(l.x, leastsquares.Options{Tolerance: heldTolerance, MaxIterations: wallSteps})
		if err != nil || !fit.Converged {
			return nil, 0
		}
		return fit.X, fit.SumSquares
	}
	return l.x, l.sum
}

// raised is a place with the conductors that lie below zero at it.
func (p *problem) raised(x []float64) []float64 {
	at := append([]float64(nil), x...)
	for _, j := range p.behind() {
		at[j] = max(at[j], 0)
	}
	return at
}
