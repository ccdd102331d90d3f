package model

import (
	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/numeric/leastsquares"
	"ohmkeep/internal/numeric/matrix"
)

// boundOhms is the standard deviation, Ω, of the prior of a resistance below zero. No resistance is
// negative, but where current can divide between rails, a plus of −40 mΩ and a minus of +50 mΩ
// would explain the readings as well as two conductors of 5 mΩ. Each conductor of a joint or feed,
// and each supply, therefore has one more residual: its transformed value (a supply's ohms) over
// boundOhms where that is below zero, otherwise 0. Errors of the readings may still put an estimate
// slightly below zero. The network is solved there without approximation.
const boundOhms = 0.001

// BoundedResistances lists the unknowns that may not fall below zero: the conductors of joints and
// feeds, and the output resistances of supplies.
func (m *Model) BoundedResistances() (list []int) {
	for j, u := range m.Unknowns {
		if u.What == JointRail || u.What == FeedRail || u.What == SupplyOhms {
			list = append(list, j)
		}
	}
	return list
}

// evaluateBounds writes the residuals of conductors below zero after those of the foil priors.
func (p *problem) evaluateBounds(x, residuals []float64, jacobian *leastsquares.Matrix) {
	first := len(p.observations) + len(p.Splits) + len(p.FoilPriors)
	for i, j := range p.bounded {
		low := min(x[j], 0)
		residuals[first+i] = low / boundOhms
		if jacobian == nil {
			continue
		}
		row := jacobian.Row(first + i)
		clear(row)
		if low < 0 {
			row[j] = 1 / boundOhms
		}
	}
}

// BoundSum returns the part of the sum of squares at x that comes from resistances below zero.
func (m *Model) BoundSum(x []float64) float64 {
	sum := 0.0
	for _, j := range m.bounded {
		low := min(x[j], 0) / boundOhms
		sum += low * low
	}
	return sum
}

// withoutBounds removes the bounds' residuals from a covariance, so that they do not make a
// conductor near zero look better known than the readings make it.
func (m *Model) withoutBounds(covariance *leastsquares.Matrix, x []float64) {
	row := make([]float64, len(x))
	for _, j := range m.bounded {
		if x[j] >= 0 || covariance == nil {
			continue
		}
		row[j] = 1 / boundOhms
		matrix.Widen(covariance, row)
		row[j] = 0
	}
}

// StartHeldAt returns a start for a fit with an element held at a value on its own scale. The value
// is divided between the rails as in from, and no conductor is below zero.
func (m *Model) StartHeldAt(s *prior.Split, value float64, from []float64) []float64 {
	at := append([]float64(nil), from...)
	for _, j := range m.bounded {
		at[j] = max(at[j], 0)
	}
	if s != nil && s.Transformed {
		sum := at[s.Rails[0]] + at[s.Rails[1]]
		for _, j := range s.Rails {
			part := 0.5
			if sum > 0 {
				part = at[j] / sum
			}
			at[j] = prior.Transform(part * prior.ToOhms(value))
		}
	}
	return at
}
