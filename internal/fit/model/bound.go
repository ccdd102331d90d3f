package model

import (
	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/numeric/leastsquares"
)

// No conductor has a negative resistance. The fit allows a negative estimate, so that errors stay
// Gaussian. But where current can divide between rails, a plus of −40 mΩ and a minus of +50 mΩ
// can explain the readings as well as two conductors of 5 mΩ, and no verdict may depend on such a
// joint. Where the sum of squares is evaluated far from the fit, each conductor of a joint or
// feed therefore gets a penalty residual: its transformed value below zero over boundOhms.
const boundOhms = 0.001

// BoundedConductors lists the unknowns of the conductors that may not fall below zero: those of
// joints and feeds.
func (p *Problem) BoundedConductors() (list []int) {
	for j, u := range p.Unknowns {
		if u.What == JointRail || u.What == FeedRail {
			list = append(list, j)
		}
	}
	return list
}

// evaluateBounds writes the penalty residuals after those of the foil priors.
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

// BoundedSumHeldAt is SumHeldAt with no conductor below zero, from the first start that
// converges; false where none does.
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

// StartHeldAt returns a start with an element at a value, divided between its rails as in from,
// and no conductor below zero.
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

// boundedIterations is the limit of bounded fits of which only the sum of squares is used. They
// converge slowly where a bound becomes active.
const boundedIterations = 20

// SolveBounded fits with no conductor below zero, from a start that may have some below.
func (p *Problem) SolveBounded(start []float64, opt leastsquares.Options) (*leastsquares.Fit, error) {
	p.bounded = p.BoundedConductors()
	defer func() { p.bounded = nil }()
	return p.solveWith(start, opt)
}

// BoundedBest returns the unknowns of the best fit in which no conductor is below zero, and its
// sum of squares; nil where it does not converge. It is X itself where that has none below zero.
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

// ClampToZero returns a copy of x with conductors below zero set to zero.
func (p *Problem) ClampToZero(x []float64) []float64 {
	at := append([]float64(nil), x...)
	for _, j := range p.BoundedConductors() {
		at[j] = max(at[j], 0)
	}
	return at
}
