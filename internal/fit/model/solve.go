package model

import (
	"math"

	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/numeric/leastsquares"
)

// Start returns the means of the priors.
func (p *Problem) Start() []float64 {
	x := make([]float64, len(p.Unknowns))
	for i := range x {
		x[i], _ = p.PriorOf(i)
	}
	return x
}

// Solve fits from a start with at most maxIterations iterations. Its error is that of
// leastsquares.Solve, also from the means of the priors.
func (p *Problem) Solve(start []float64) (*leastsquares.Fit, error) {
	return p.SolveLimited(start, maxIterations)
}

// maxIterations is several times what a fit that converges needs.
const maxIterations = 100

// SolveLimited fits from a start with at most so many iterations.
func (p *Problem) SolveLimited(start []float64, most int) (*leastsquares.Fit, error) {
	return p.solveWith(start, p.Options(most))
}

// solveWith fits with the given options, from the means of the priors where the network has no
// solution at the start. The covariance is that without the bounds.
func (p *Problem) solveWith(start []float64, opt leastsquares.Options) (*leastsquares.Fit, error) {
	fit, err := leastsquares.Solve(p, start, p.Prior(), opt)
	if err != nil {
		fit, err = leastsquares.Solve(p, p.Start(), p.Prior(), opt)
	}
	if err == nil {
		p.withoutBounds(fit.Covariance, fit.X)
	}
	return fit, err
}

// Prior returns the priors of all unknowns.
func (p *Problem) Prior() *leastsquares.Prior {
	prior := &leastsquares.Prior{Mean: make([]float64, len(p.Unknowns)), Deviation: make([]float64, len(p.Unknowns))}
	for i := range p.Unknowns {
		prior.Mean[i], prior.Deviation[i] = p.PriorOf(i)
	}
	return prior
}

// PriorOf returns the prior of an unknown. That of a conductor held open has a deviation of 1e-6.
func (p *Problem) PriorOf(i int) (mean, deviation float64) {
	u := p.Unknowns[i]
	if p.HeldOpen[i] {
		mean = prior.MaxTransformed
		if v, ok := p.HeldValue[i]; ok {
			mean = v
		}
		return mean, 1e-6
	}
	return u.Mean, math.Max(u.Deviation, 1e-9)
}

// Convergence, as the reduction of the sum of squares that is still possible, in squared standard
// uncertainties.
const (
	stopReduction       = 0.01 // a tenth of a standard uncertainty in one direction
	robustStopReduction = 0.1  // of a robust fit, which only has to find gross errors
)

// Options returns the convergence criteria of a fit.
func (p *Problem) Options(most int) leastsquares.Options {
	o := leastsquares.Options{Tolerance: 1e-10, Slack: stopReduction, MaxIterations: most}
	if p.Robust {
		o.Slack = robustStopReduction
	}
	return o
}
