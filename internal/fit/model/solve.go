package model

import (
	"math"

	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/numeric/leastsquares"
)

// Start is the unknowns as they are known beforehand.
func (p *Problem) Start() []float64 {
	x := make([]float64, len(p.Unknowns))
	for i := range x {
		x[i], _ = p.PriorOf(i)
	}
	return x
}

// Solve fits with as many steps as a fit takes that is going to settle.
func (p *Problem) Solve(start []float64) (*leastsquares.Fit, error) {
	return p.SolveLimited(start, maxIterations)
}

// mostSteps is far more than a fit takes that is going to settle.
const maxIterations = 100

// SolveWithin fits with so many steps at the most.
func (p *Problem) SolveLimited(start []float64, most int) (*leastsquares.Fit, error) {
	return p.solveWith(start, p.Options(most))
}

// solveTo fits with any options.
func (p *Problem) solveWith(start []float64, opt leastsquares.Options) (*leastsquares.Fit, error) {
	return leastsquares.Solve(p, start, p.Prior(), opt)
}

// Prior is what is known of all unknowns beforehand.
func (p *Problem) Prior() *leastsquares.Prior {
	prior := &leastsquares.Prior{Mean: make([]float64, len(p.Unknowns)), Deviation: make([]float64, len(p.Unknowns))}
	for i := range p.Unknowns {
		prior.Mean[i], prior.Deviation[i] = p.PriorOf(i)
	}
	return prior
}

// PriorOf is what is known of an unknown beforehand, an open one being nearly certain.
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

// Where a fit may end, in squared standard uncertainties.
const (
	stopReduction       = 0.01 // a tenth of a deviation is left to win, in one direction at most
	robustStopReduction = 0.1  // of a robust fit, which only has to find the gross readings
)

// Options says when a fit may end.
func (p *Problem) Options(most int) leastsquares.Options {
	o := leastsquares.Options{Tolerance: 1e-10, Slack: stopReduction, MaxIterations: most}
	if p.Robust {
		o.Slack = robustStopReduction
	}
	return o
}
