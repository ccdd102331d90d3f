package model

import (
	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/run"
)

// gradient returns half of the derivatives of the sum of squares by unknown at the x of the last Evaluate, those
// of the unknowns' own priors and of the bounds left out. Its errors are those of addGradient.
func (p *problem) gradient(x []float64) ([]float64, error) {
	sum := make([]float64, len(x))
	if p.held == nil {
		return sum, p.addGradient(x, sum)
	}
	full, slope, err := p.held.whole(x)
	if err != nil {
		return nil, err
	}
	if err := p.addGradient(full, sum); err != nil {
		return nil, err
	}
	mean, deviation := p.PriorOf(p.Assumptions, p.held.dependent)
	sum[p.held.dependent] += (full[p.held.dependent] - mean) / (deviation * deviation)
	p.held.carry(sum, slope)
	return sum, nil
}

// addGradient adds Jᵀ·r to sum, half of the derivatives by unknown of the sum of squares r² of all residuals but
// those of bounds, at the x of the last evaluation. The derivatives of a step's readings are summed before the
// adjoint equations of its network are solved: that is one solution a step, where the Jacobian J takes one a
// reading. It returns an error where the network is singular. Every unknown must be where the network is solved
// (see Unknown.inside).
func (p *problem) addGradient(x, sum []float64) error {
	for k, read := range p.stepsRead {
		if !read {
			continue
		}
		p.outputs = p.outputs[:0]
		for i := range p.observations {
			if o := &p.observations[i]; o.Step == k && !o.Excluded {
				p.outputs = append(p.outputs, p.weighted(x, i, sum))
			}
		}
		if err := p.point.Solvers[k].SumGradient(p.outputs, p.point.gradients[k]); err != nil {
			return err
		}
		p.ChainRule(k, x, p.point.states[k], p.point.gradients[k], p.row)
		for j, d := range p.row {
			sum[j] += d
		}
	}
	for i := range p.Splits {
		if s := p.SplitUnder(p.Assumptions, i); !p.splitDisabled(&s) {
			z, by := s.Residual(x)
			by.AddTo(sum, z)
		}
	}
	for i, f := range p.FoilPriors {
		if !p.NoFoilPrior[i] {
			z, by := f.Residual(x)
			by.AddTo(sum, z)
		}
	}
	return nil
}

// weighted returns the output of observation i in the network, weighted with half of the derivative of the sum
// of squares by it. It adds the derivatives by the errors of its meter to sum.
func (p *problem) weighted(x []float64, i int, sum []float64) ladder.Output {
	o := &p.observations[i]
	residual := (o.Value - p.predicted[i]) / o.Deviation
	slope := -1 / o.Deviation
	if p.Robust {
		loss, by := prior.CauchyLoss(residual, RobustThreshold)
		residual, slope = loss, slope*by
	}
	weight := residual * slope
	if o.MeterRange != Absent {
		at := &p.MeterRanges[o.MeterRange]
		sum[at.Gain] += weight * p.point.ideal(o)
		sum[at.Offset] += weight
		weight *= 1 + x[at.Gain]
	}
	if o.Feed != Absent {
		return ladder.Output{Feed: o.Feed, Rail: run.Plus, Weight: weight}
	}
	return ladder.Output{From: o.From, To: o.To, Feed: ladder.NoFeed, Weight: weight}
}
