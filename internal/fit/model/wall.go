package model

import (
	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/numeric/leastsquares"
)

// No conductor has less than no resistance. An estimate of one may, by what the readings
// are off, and the fit lets it, so that its errors stay Gaussian. But where rails have two
// ways to share, a plus of −40 mΩ and a minus of +50 mΩ explain the readings as well as
// two of 5 mΩ do, and no verdict may hang on such a joint. Where the sum of squares is
// looked at far from the fit, walls stand at zero: one more residual for each conductor
// of a joint or feed, its ohms below zero over wallOhms.
const boundOhms = 0.001

// Behind lists the conductors that have a wall at zero.
func (p *Problem) BoundedConductors() (list []int) {
	for j, u := range p.Unknowns {
		if u.What == JointRail || u.What == FeedRail {
			list = append(list, j)
		}
	}
	return list
}

// evaluateWalls writes the walls' residuals behind those of the reels.
func (p *Problem) evaluateBounds(x, residuals []float64, jacobian *leastsquares.Matrix) {
	first := len(p.Observations) + len(p.Splits) + len(p.FoilPriors)
	for i, j := range p.bounded {
		low := min(x[j], 0)
		residuals[first+i] = low / boundOhms
		if jacobian == nil {
			continue
		}
		row := jacobian.Row(first + i)
		clear(row)
		if low < 0 {
			row[j] = 1 / boundOhms
		}
	}
}

// HeldWithin is HeldAt between walls, from the first of some starts from which the fit
// settles; false where it does from none.
func (p *Problem) BoundedSumHeldAt(of Function, value float64, starts ...[]float64) (least float64, ok bool) {
	p.pin, p.bounded = &pin{of: of, value: value}, p.BoundedConductors()
	defer func() { p.pin, p.bounded = nil, nil }()
	for _, start := range starts {
		fit, err := p.solveWith(start, leastsquares.Options{Tolerance: pinTolerance, MaxIterations: boundedIterations})
		if err == nil && fit.Converged {
			p.LastHeldX = fit.X
			return fit.SumSquares, true
		}
	}
	return 0, false
}

// Shared is an account with an element at a value, its rails sharing it as they do in
// another account, and no conductor below zero.
func (p *Problem) StartHeldAt(s *prior.Split, value float64, from []float64) []float64 {
	at := p.ClampToZero(from)
	if s != nil && s.Transformed {
		sum := at[s.Rails[0]] + at[s.Rails[1]]
		for _, j := range s.Rails {
			part := 0.5
			if sum > 0 {
				part = at[j] / sum
			}
			at[j] = prior.Transform(part * prior.ToOhms(value))
		}
	}
	return at
}

// wallSteps is for fits between walls that only tell a sum of squares; they go round corners.
const boundedIterations = 20

// Walled fits between walls at zero, from a start that may lie behind them.
func (p *Problem) SolveBounded(start []float64, opt leastsquares.Options) (*leastsquares.Fit, error) {
	p.bounded = p.BoundedConductors()
	defer func() { p.bounded = nil }()
	return p.solveWith(start, opt)
}

// Physical is the best account near a place in which no conductor has less than no
// resistance, and its sum of squares; nil where no fit settled. It is the place itself where
// that is one.
func (l *Linear) BoundedBest() ([]float64, float64) {
	for _, j := range l.Problem.BoundedConductors() {
		if l.X[j] >= 0 {
			continue
		}
		fit, err := l.Problem.SolveBounded(l.X, leastsquares.Options{Tolerance: pinTolerance, MaxIterations: boundedIterations})
		if err != nil || !fit.Converged {
			return nil, 0
		}
		return fit.X, fit.SumSquares
	}
	return l.X, l.Sum
}

// Raised is a place with the conductors that lie below zero at it.
func (p *Problem) ClampToZero(x []float64) []float64 {
	at := append([]float64(nil), x...)
	for _, j := range p.BoundedConductors() {
		at[j] = max(at[j], 0)
	}
	return at
}
