package estimate

import (
	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/numeric/matrix"
)

// Directions are the columns of a Cholesky factor of the covariance, for one load step. The
// variance of a quantity that depends linearly on the unknowns is the sum of the squares of its
// changes along each direction. Directions that change only meter errors or other steps are left out.
type Directions struct {
	est  *Estimate
	step int
	off  [][]float64 // by direction: the change of the unknowns, one standard deviation along it
}

// OneSigma returns for each direction the states one standard deviation to either side of the
// best one.
func (d Directions) OneSigma() [][2]FittedState {
	var sides [][2]FittedState
	one := make([]float64, len(d.off))
	for j := range d.off {
		one[j] = 1
		high := d.Along(one)
		one[j] = -1
		sides = append(sides, [2]FittedState{high, d.Along(one)})
		one[j] = 0
	}
	return sides
}

// Along returns the state at the given number of standard deviations along each direction, in the
// order of OneSigma.
func (d Directions) Along(deviations []float64) FittedState {
	sum := make([]float64, len(d.est.X))
	for j, off := range d.off {
		if by := deviations[j]; by != 0 {
			for i, x := range off {
				sum[i] += by * x
			}
		}
	}
	return d.est.FittedStateAt(d.step, sum)
}

// Directions returns those of a step, by its index in the run.
func (e *Estimate) Directions(step int) Directions {
	all := Directions{est: e, step: step}
	k, d := e.Model.StepIndex(step), len(e.X)
	factor := matrix.Factor(e.Covariance)
	for j := range d {
		off, touches := make([]float64, d), false
		for i, u := range e.Model.Unknowns {
			off[i] = e.Inflation * factor[i*d+j]
			switch u.What {
			case model.Gain, model.Offset:
				continue
			case model.StepVolts, model.StepCurrentScale, model.StepKneeShift, model.StepTemperature, model.StepUnlistedScale:
				if u.Step != k {
					continue
				}
			}
			touches = touches || off[i] != 0
		}
		if touches {
			all.off = append(all.off, off)
		}
	}
	return all
}
