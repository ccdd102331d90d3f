package estimate

import (
	"math/rand/v2"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/network/pixel"
	"ohmkeep/internal/numeric/matrix"
)

// FittedState is the fitted run in one step: the parameters of the network at the temperature of
// the readings, and the adjustment of its pixels. In it an open conductor has 100 kΩ, and one
// whose estimate is below zero has 0 Ω.
type FittedState struct {
	Parameters ladder.Parameters
	Adjust     pixel.Adjust
}

// FittedState returns the best estimate in a step, by its index in the run. A step without
// readings follows from the other steps and the priors.
func (e *Estimate) FittedState(step int) FittedState {
	_, s := e.state(step, nil)
	return FittedState{s.Par, s.Adjust}
}

// FittedStateAt returns the state at the best estimate plus a deviation of the unknowns, such as
// one of Draws.
func (e *Estimate) FittedStateAt(step int, off []float64) FittedState {
	_, s := e.state(step, off)
	return FittedState{s.Par, s.Adjust}
}

// Gradient turns a network's derivatives, at the fitted state of a step, into derivatives by
// unknown. The derivatives of parts of the network that were replaced must be zero.
func (e *Estimate) Gradient(step int, g *ladder.Gradient) []float64 {
	k, s := e.state(step, nil)
	row := make([]float64, len(e.X))
	e.Model.ChainRule(k, e.X, s, g, row)
	return row
}

func (e *Estimate) state(step int, off []float64) (k int, s *model.State) {
	x := e.X
	if off != nil {
		x = make([]float64, len(e.X))
		for i := range x {
			x[i] = e.X[i] + off[i]
		}
	}
	k = e.Model.StepIndex(step)
	s = e.Model.StateAt(e.Assumptions, k, x)
	for _, list := range [][]ladder.Rails{s.Par.Joints, s.Par.Feeds} {
		for i := range list {
			list[i] = ladder.Rails{Plus: max(list[i].Plus, 0), Minus: max(list[i].Minus, 0)}
		}
	}
	for i := range s.Par.Supplies {
		s.Par.Supplies[i].Ohms = max(s.Par.Supplies[i].Ohms, 0)
	}
	return k, s
}

// Draws returns n random deviations of the unknowns from the best estimate, from the Gaussian
// distribution of the fit's covariance, scaled by Inflation. The same seed gives the same draws.
// Every second draw is the negative of the one before it, so that their mean is zero.
func (e *Estimate) Draws(n int, seed uint64) [][]float64 {
	d := len(e.X)
	factor := matrix.Factor(e.Covariance)
	rng := rand.New(rand.NewPCG(seed, 1))
	normal := make([]float64, d)
	draws := make([][]float64, n)
	for k := range draws {
		draws[k] = make([]float64, d)
		if k%2 == 1 {
			for i, x := range draws[k-1] {
				draws[k][i] = -x
			}
			continue
		}
		for i := range normal {
			normal[i] = e.Inflation * rng.NormFloat64()
		}
		for i := range d {
			for j := range i + 1 {
				draws[k][i] += factor[i*d+j] * normal[j]
			}
		}
	}
	return draws
}
