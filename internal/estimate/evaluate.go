package estimate

import (
	"ohmkeep/internal/leastsquares"
	"ohmkeep/internal/run"
)

// Size makes a problem a leastsquares.Model.
func (p *problem) Size() (residuals, parameters int) {
	residuals = len(p.observations) + len(p.splits) + len(p.alikes) + len(p.walls)
	if p.pin != nil {
		residuals++
	}
	return residuals, len(p.unknowns)
}

// Evaluate writes (measured − predicted)/deviation and derivatives. Readings left
// out have residuals of zero.
func (p *problem) Evaluate(x, residuals []float64, jacobian *leastsquares.Matrix) error {
	if err := p.settleRead(x); err != nil {
		return err
	}
	p.evaluateSplits(x, residuals, jacobian)
	p.evaluateAlikes(x, residuals, jacobian)
	p.evaluateWalls(x, residuals, jacobian)
	p.evaluatePin(x, residuals, jacobian)
	for i := range p.observations {
		o := &p.observations[i]
		row := p.row
		if jacobian != nil {
			row = jacobian.Row(i)
		}
		predicted, err := p.predict(o, x, row)
		if err != nil {
			return err
		}
		p.predicted[i] = predicted
		if o.out {
			residuals[i] = 0
			clear(row)
			continue
		}
		residuals[i] = (o.value - predicted) / o.deviation
		by := -1 / o.deviation
		if p.robust {
			var slope float64
			residuals[i], slope = soften(residuals[i], softFrom)
			by *= slope
		}
		for j := range row {
			row[j] *= by
		}
	}
	return nil
}

// settleRead solves all steps that were read at x.
func (p *problem) settleRead(x []float64) error {
	for k := range p.read {
		if p.unread != nil && p.unread[k] {
			continue
		}
		if err := p.settle(k, x); err != nil {
			return err
		}
	}
	return nil
}

// settle solves step k at x.
func (p *problem) settle(k int, x []float64) error {
	p.set(k, x, p.states[k])
	return p.solvers[k].Solve(&p.states[k].par, p.states[k].loads)
}

// predict gives what the meter should show for an observation at the states that
// Evaluate solved, and the derivatives of that by unknown.
func (p *problem) predict(o *observation, x, row []float64) (float64, error) {
	solver, s := p.solvers[o.step], p.states[o.step]
	var value float64
	var err error
	if o.feed != absent {
		value = solver.FeedAmps(o.feed, run.Plus)
		err = solver.FeedAmpsGradient(o.feed, run.Plus, p.gradient)
	} else {
		value = solver.Potential(o.from) - solver.Potential(o.to)
		err = solver.VoltageGradient(o.from, o.to, p.gradient)
	}
	if err != nil {
		return 0, err
	}
	value += p.chain(o.step, x, s, p.gradient, row)
	if o.scale == absent { // a true value, of no meter
		return value, nil
	}
	sc := p.scales[o.scale]
	slope := 1 + x[sc.gain]
	for j := range row {
		row[j] *= slope
	}
	row[sc.gain] = value
	row[sc.offset] = 1
	return value*slope + x[sc.offset], nil
}

// evaluateSplits writes the splits' residuals behind those of the observations.
func (p *problem) evaluateSplits(x, residuals []float64, jacobian *leastsquares.Matrix) {
	n := len(p.observations)
	row := p.row
	for i, s := range p.splits {
		if jacobian != nil {
			row = jacobian.Row(n + i)
		}
		residuals[n+i] = s.row(x, row)
	}
}
