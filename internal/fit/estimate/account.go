package estimate

import (
	"math/rand/v2"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/network/pixel"
	"ohmkeep/internal/numeric/matrix"
)

// Account is the fitted run in one step: what a network solves with, at the
// temperature of the readings, and how its pixels differ from what is stated. An
// open conductor is 100 kΩ in it.
type FittedState struct {
	Parameters ladder.Parameters
	Adjust     pixel.Adjust
}

// Account gives the best estimate in a step, by its index in the run; in a step
// that was not read, what the others and the knowledge beforehand say of it.
func (e *Estimate) FittedState(step int) FittedState {
	_, s := e.state(step, nil)
	return FittedState{s.Par, s.Adjust}
}

// AccountAt gives the account at the best estimate plus what a draw is off.
func (e *Estimate) FittedStateAt(step int, off []float64) FittedState {
	_, s := e.state(step, off)
	return FittedState{s.Par, s.Adjust}
}

// Slopes turns a network's derivatives, at the account of a step, into those by
// unknown, which a draw multiplies. Where part of the network was replaced, its
// derivatives must have been set to zero.
func (e *Estimate) Gradient(step int, g *ladder.Gradient) []float64 {
	k, s := e.state(step, nil)
	row := make([]float64, len(e.X))
	e.Problem.ChainRule(k, e.X, s, g, row)
	return row
}

func (e *Estimate) state(step int, off []float64) (k int, s *model.State) {
	p := e.Problem
	x := e.X
	if off != nil {
		x = make([]float64, len(e.X))
		for i := range x {
			x[i] = e.X[i] + off[i]
		}
	}
	k = p.StepIndex(step)
	s = p.NewState()
	p.Set(k, x, s)
	return k, s
}

// Draws gives n draws of how far the unknowns may be off from the best estimate,
// from the Gaussian with the fit's covariance, widened where the fit is poor. The
// same seed gives the same draws; every second one is the one before it mirrored,
// so that their mean is zero.
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
