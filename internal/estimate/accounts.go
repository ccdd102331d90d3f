package estimate

import (
	"math"

	"ohmkeep/internal/ladder"
	"ohmkeep/internal/pixel"
)

// Account is a run as the readings allow it to be, in one step: resistances at the
// temperature of the readings, and how its pixels differ from what is stated.
type Account struct {
	Parameters ladder.Parameters
	Adjust     pixel.Adjust
}

// Accounts gives the best account of a step of the run, by its index there, and for
// each direction of what is not known two others, one standard deviation to either
// side. The directions are the columns of a Cholesky factor of the covariance, so
// the variance of anything that depends on them linearly is the sum of its squared
// differences over either side.
func (e *Estimate) Accounts(step int) (best Account, sides [][2]Account) {
	p := e.problem
	k := 0
	for i, s := range p.steps {
		if s == step {
			k = i
		}
	}
	best = e.account(k, e.x)
	var matters []int
	for i, u := range p.unknowns {
		switch u.what {
		case gain, offset:
			continue
		case stepVolts, stepScale, stepShift:
			if u.step != k {
				continue
			}
		}
		matters = append(matters, i)
	}
	x := make([]float64, len(e.x))
	for _, column := range e.factor(matters) {
		var pair [2]Account
		for side, sign := range [2]float64{1, -1} {
			copy(x, e.x)
			for i, d := range column {
				x[matters[i]] += sign * e.inflation * d
			}
			pair[side] = e.account(k, x)
		}
		sides = append(sides, pair)
	}
	return best, sides
}

func (e *Estimate) account(k int, x []float64) Account {
	s := e.problem.newState()
	e.problem.set(k, x, s)
	return Account{Parameters: s.par, Adjust: s.adjust}
}

// factor gives the columns of a Cholesky factor of the covariance of some unknowns.
// What is known for certain, such as an open conductor, has none.
func (e *Estimate) factor(of []int) [][]float64 {
	n := len(of)
	var columns [][]float64
	left := make([][]float64, n)
	for i := range left {
		left[i] = make([]float64, n)
		for j := range left[i] {
			left[i][j] = e.covariance.At(of[i], of[j])
		}
	}
	for j := range n {
		if left[j][j] <= 1e-12*e.covariance.At(of[j], of[j]) {
			continue
		}
		root := math.Sqrt(left[j][j])
		column := make([]float64, n)
		for i := j; i < n; i++ {
			column[i] = left[i][j] / root
		}
		for a := j; a < n; a++ {
			for b := j; b < n; b++ {
				left[a][b] -= column[a] * column[b]
			}
		}
		columns = append(columns, column)
	}
	return columns
}
