package estimate

import (
	"math"
	"ohmkeep/internal/leastsquares"
)

// start is the unknowns as they are known beforehand.
func (p *problem) start() []float64 {
	x := make([]float64, len(p.unknowns))
	for i := range x {
		x[i], _ = p.priorOf(i)
	}
	return x
}

// solve fits with as many steps as a fit takes that is going to settle.
func (p *problem) solve(start []float64) (*leastsquares.Fit, error) {
	return p.solveWithin(start, mostSteps)
}

// mostSteps is far more than a fit takes that is going to settle.
const mostSteps = 100

// solveWithin fits with so many steps at the most.
func (p *problem) solveWithin(start []float64, most int) (*leastsquares.Fit, error) {
	return p.solveTo(start, p.options(most))
}

// solveTo fits with any options.
func (p *problem) solveTo(start []float64, opt leastsquares.Options) (*leastsquares.Fit, error) {
	return leastsquares.Solve(p, start, p.prior(), opt)
}

// prior is what is known of all unknowns beforehand.
func (p *problem) prior() *leastsquares.Prior {
	prior := &leastsquares.Prior{Mean: make([]float64, len(p.unknowns)), Deviation: make([]float64, len(p.unknowns))}
	for i := range p.unknowns {
		prior.Mean[i], prior.Deviation[i] = p.priorOf(i)
	}
	return prior
}

// priorOf is what is known of an unknown beforehand, an open one being nearly certain.
func (p *problem) priorOf(i int) (mean, deviation float64) {
	u := p.unknowns[i]
	if p.open[i] {
		mean = unbendMost
		if v, ok := p.held[i]; ok {
			mean = v
		}
		return mean, 1e-6
	}
	return u.mean, math.Max(u.deviation, 1e-9)
}

// Where a fit may end, in squared standard uncertainties.
const (
	slack = 0.01 // a tenth of a deviation is left to win, in one direction at most
	rough = 0.1  // of a robust fit, which only has to find the gross readings
)

// options says when a fit may end.
func (p *problem) options(most int) leastsquares.Options {
	o := leastsquares.Options{Tolerance: 1e-10, Slack: slack, MaxIterations: most}
	if p.robust {
		o.Slack = rough
	}
	return o
}
