package model

import (
	"cmp"
	"math"

	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/numeric/leastsquares"
	"ohmkeep/internal/numeric/parallel"
)

// problem is the least-squares problem of a model under some assumptions. It implements
// leastsquares.Model.
type problem struct {
	*Model
	Assumptions
	point        *Point
	observations []Observation   // see Under
	predicted    []float64       // by observation, of the last evaluation; 0 where excluded
	row          []float64       // scratch
	outputs      []ladder.Output // scratch
}

// problem returns the problem under some assumptions. Its point is released by the caller.
func (m *Model) problem(a Assumptions) *problem {
	return &problem{Model: m, Assumptions: a, point: m.newPoint(a), observations: m.Under(a),
		predicted: make([]float64, len(m.Observations)), row: make([]float64, len(m.Unknowns))}
}

// Size returns the numbers of residuals and unknowns.
func (p *problem) Size() (residuals, parameters int) {
	residuals = len(p.observations) + len(p.Splits) + len(p.FoilPriors) + len(p.bounded)
	if p.held != nil {
		residuals++
	}
	return residuals, len(p.Unknowns)
}

// Evaluate writes the residuals (measured − predicted)/deviation and, where jacobian is not nil,
// their derivatives. Excluded readings have residuals of zero.
func (p *problem) Evaluate(x, residuals []float64, jacobian *leastsquares.Matrix) error {
	if p.held != nil {
		return p.evaluateHeld(x, residuals, jacobian)
	}
	return p.evaluateFree(x, residuals, jacobian)
}

// evaluateFree is Evaluate without a held resistance. Steps are independent of each other: with derivatives
// they are evaluated concurrently.
func (p *problem) evaluateFree(x, residuals []float64, jacobian *leastsquares.Matrix) error {
	p.point.moveTo(x)
	errs := make([]error, len(p.stepsRead))
	step := func(k int) {
		if p.stepsRead[k] {
			errs[k] = p.evaluateStep(k, residuals, jacobian)
		}
	}
	if jacobian != nil {
		parallel.For(len(errs), step)
	} else {
		for k := range errs {
			step(k)
		}
	}
	p.evaluateSplits(x, residuals, jacobian)
	p.evaluateFoilPriors(x, residuals, jacobian)
	p.evaluateBounds(x, residuals, jacobian)
	return cmp.Or(errs...)
}

// evaluateStep solves the network of a step, and writes the residuals of its observations.
func (p *problem) evaluateStep(k int, residuals []float64, jacobian *leastsquares.Matrix) error {
	if err := p.point.SolveStep(k); err != nil {
		return err
	}
	for i := range p.observations {
		o := &p.observations[i]
		if o.Step != k {
			continue
		}
		var row []float64
		if jacobian != nil {
			row = jacobian.Row(i)
		}
		if o.Excluded {
			residuals[i] = 0
			clear(row)
			continue
		}
		predicted, err := p.point.Predict(o, row)
		if err != nil {
			return err
		}
		p.predicted[i] = predicted
		residuals[i] = (o.Value - predicted) / o.Deviation
		by := -1 / o.Deviation
		if p.Robust {
			var slope float64
			residuals[i], slope = prior.CauchyLoss(residuals[i], RobustThreshold)
			by *= slope
		}
		for j, d := range row {
			if d == 0 {
				continue
			}
			if row[j] = d * by; math.Abs(row[j])*p.Unknowns[j].Deviation < negligible {
				row[j] = 0
			}
		}
	}
	return nil
}

// negligible is the change of a residual for one standard deviation of an unknown's prior below
// which the derivative is set to zero. It makes the Jacobian of a large run sparse.
const negligible = 1e-6

// evaluateSplits writes the residuals of the splits after those of the observations.
func (p *problem) evaluateSplits(x, residuals []float64, jacobian *leastsquares.Matrix) {
	first := len(p.observations)
	for i := range p.Splits {
		s := p.SplitUnder(p.Assumptions, i)
		var z float64
		var by prior.Derivatives
		if !p.splitDisabled(&s) {
			z, by = s.Residual(x)
		}
		residuals[first+i] = z
		writeRow(jacobian, first+i, &by)
	}
}

// writeRow writes a row of a Jacobian, if there is one.
func writeRow(jacobian *leastsquares.Matrix, i int, by *prior.Derivatives) {
	if jacobian != nil {
		row := jacobian.Row(i)
		clear(row)
		by.AddTo(row, 1)
	}
}

// RobustThreshold is the scale of the Cauchy loss in a robust fit, in standard deviations.
const RobustThreshold = 5.0
