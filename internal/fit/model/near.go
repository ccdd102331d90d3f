package model

import (
	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/numeric/matrix"
)

// near returns the covariance of the linear model with the resistance of a problem held, and with the derivatives
// of the priors at x; nil where the resistance cannot be held there.
func (l *Linear) near(p *problem, x []float64) matrix.Covariance {
	full, slope, err := p.held.whole(x)
	if err != nil {
		return nil
	}
	c := &matrix.Updated{Covariance: matrix.Dense{Matrix: l.Covariance}}
	p.replacePriors(c, l.linearisedAt, full)
	row := matrix.SparseAt([]int{p.held.dependent}, []float64{1})
	if p.held.other != Absent {
		row = matrix.SparseAt([]int{p.held.dependent, p.held.other}, []float64{1, -slope})
	}
	c.Hold(row)
	return matrix.Fixed{Covariance: c, Unknown: p.held.dependent}
}

// replacePriors replaces the derivatives of splits and foil priors at one point in a covariance by those at
// another one, where they differ.
func (p *problem) replacePriors(c *matrix.Updated, from, to []float64) {
	replace := func(was, now prior.Derivatives) {
		change := now
		for k := range change {
			change[k].Slope -= was[k].Slope
		}
		if c.Variance(sparse(change)) > minChange*minChange {
			c.Add(sparse(now))
			c.Remove(sparse(was))
		}
	}
	for i := range p.Splits {
		if s := p.SplitUnder(p.Assumptions, i); !p.splitDisabled(&s) {
			_, was := s.Residual(from)
			_, now := s.Residual(to)
			replace(was, now)
		}
	}
	for i, a := range p.FoilPriors {
		if !p.NoFoilPrior[i] {
			_, was := a.Residual(from)
			_, now := a.Residual(to)
			replace(was, now)
		}
	}
}

// minChange is the standard deviation of the change of a prior's residual from which its derivatives
// are replaced.
const minChange = 0.1

func sparse(d prior.Derivatives) matrix.Sparse {
	return matrix.SparseAt([]int{d[0].Unknown, d[1].Unknown, d[2].Unknown}, []float64{d[0].Slope, d[1].Slope, d[2].Slope})
}
