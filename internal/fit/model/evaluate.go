package model

import (
	"math"

	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/numeric/leastsquares"
	"ohmkeep/internal/run"
)

// Size returns the numbers of residuals and unknowns. It implements leastsquares.Model.
func (p *Problem) Size() (residuals, parameters int) {
	residuals = len(p.Observations) + len(p.Splits) + len(p.FoilPriors) + len(p.bounded)
	if p.pin != nil {
		residuals++
	}
	return residuals, len(p.Unknowns)
}

// Evaluate writes the residuals (measured − predicted)/deviation and, where jacobian is not nil,
// their derivatives. Excluded readings have residuals of zero.
func (p *Problem) Evaluate(x, residuals []float64, jacobian *leastsquares.Matrix) error {
	if err := p.SolveReadSteps(x); err != nil {
		return err
	}
	p.evaluateSplits(x, residuals, jacobian)
	p.evaluateFoilPriors(x, residuals, jacobian)
	p.evaluateBounds(x, residuals, jacobian)
	p.evaluatePin(x, residuals, jacobian)
	for i := range p.Observations {
		o := &p.Observations[i]
		row := p.row
		if jacobian != nil {
			row = jacobian.Row(i)
		}
		predicted, err := p.Predict(o, x, row)
		if err != nil {
			return err
		}
		p.Predicted[i] = predicted
		if o.Excluded {
			residuals[i] = 0
			clear(row)
			continue
		}
		residuals[i] = (o.Value - predicted) / o.Deviation
		by := -1 / o.Deviation
		if p.Robust {
			var slope float64
			residuals[i], slope = prior.CauchyLoss(residuals[i], RobustThreshold)
			by *= slope
		}
		for j := range row {
			if row[j] *= by; math.Abs(row[j])*p.Unknowns[j].Deviation < negligible {
				row[j] = 0
			}
		}
	}
	return nil
}

// negligible is the change of a residual for one standard deviation of an unknown's prior below
// which the derivative is set to zero. It makes the Jacobian of a large run sparse.
const negligible = 1e-6

// SolveReadSteps solves the network of every step with readings at x.
func (p *Problem) SolveReadSteps(x []float64) error {
	for k := range p.ReadSteps {
		if p.unreadSteps != nil && p.unreadSteps[k] {
			continue
		}
		if err := p.SolveStep(k, x); err != nil {
			return err
		}
	}
	return nil
}

// SolveStep solves the network of step k at x.
func (p *Problem) SolveStep(k int, x []float64) error {
	p.Set(k, x, p.states[k])
	return p.Solvers[k].Solve(&p.states[k].Par, p.states[k].loads)
}

// Predict returns the value that the meter should show for an observation, V or A, at the states
// last solved, and writes its derivatives by unknown to row. x are the unknowns of those states.
// It returns an error where the network is singular.
func (p *Problem) Predict(o *Observation, x, row []float64) (float64, error) {
	solver, s := p.Solvers[o.Step], p.states[o.Step]
	var value float64
	var err error
	if o.Feed != Absent {
		value = solver.FeedAmps(o.Feed, run.Plus)
		err = solver.FeedAmpsGradient(o.Feed, run.Plus, p.gradient)
	} else {
		value = solver.Potential(o.From) - solver.Potential(o.To)
		err = solver.VoltageGradient(o.From, o.To, p.gradient)
	}
	if err != nil {
		return 0, err
	}
	value += p.ChainRule(o.Step, x, s, p.gradient, row)
	if o.MeterRange == Absent { // a true value, without a meter
		return value, nil
	}
	sc := p.MeterRanges[o.MeterRange]
	slope := 1 + x[sc.Gain]
	for j := range row {
		row[j] *= slope
	}
	row[sc.Gain] = value
	row[sc.Offset] = 1
	return value*slope + x[sc.Offset], nil
}

// evaluateSplits writes the residuals of the splits after those of the observations.
func (p *Problem) evaluateSplits(x, residuals []float64, jacobian *leastsquares.Matrix) {
	n := len(p.Observations)
	row := p.row
	for i, s := range p.Splits {
		if jacobian != nil {
			row = jacobian.Row(n + i)
		}
		residuals[n+i] = s.Row(x, row)
	}
}

// RobustThreshold is the scale of the Cauchy loss in a robust fit, in standard deviations.
const RobustThreshold = 5.0
