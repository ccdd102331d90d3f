package changepoint

import (
	"gonum.org/v1/gonum/stat/distuv"
)

// grid is the number of states that a chart's statistic is divided into for run
// lengths; two hundred give four digits.
const grid = 201

// RunLength is the average number of values until a two-sided Cusum signals where
// the values are Gaussian with unit deviation about shift (Brook and Evans,
// Biometrika 59 (1972) 539; the two sides combine as 1/L = 1/L₊ + 1/L₋).
func (c Cusum) RunLength(shift float64) float64 {
	one := func(shift float64) float64 {
		// State 0 is an empty sum; state i the cell about (i − ½)·w.
		w := c.Limit / (grid - 1)
		at := func(i int) float64 {
			if i == 0 {
				return 0
			}
			return (float64(i) - 0.5) * w
		}
		return chain(grid, 0, func(i, j int) float64 {
			from := at(i) + shift - c.Slack
			if j == 0 {
				return distuv.UnitNormal.CDF(0 - from)
			}
			return distuv.UnitNormal.CDF(float64(j)*w-from) - distuv.UnitNormal.CDF(float64(j-1)*w-from)
		})
	}
	up, down := one(shift), one(-shift)
	return 1 / (1/up + 1/down)
}

// RunLength is the same for an Ewma that begins at zero (Lucas and Saccucci,
// Technometrics 32 (1990) 1).
func (e Ewma) RunLength(shift float64) float64 {
	limit := e.Limit()
	w := 2 * limit / grid
	return chain(grid, grid/2, func(i, j int) float64 {
		from := (1-e.Weight)*(-limit+(float64(i)+0.5)*w) + e.Weight*shift
		edge := -limit + float64(j)*w
		return distuv.UnitNormal.CDF((edge+w-from)/e.Weight) - distuv.UnitNormal.CDF((edge-from)/e.Weight)
	})
}

// chain returns the average number of transitions of a Markov chain from a state until
// it leaves n states: (I − Q)·L = 1 by elimination with pivots on the diagonal, which
// dominates. A general LU factorisation (gonum's mat) reports the matrix as singular for
// long run lengths: its condition number is 2e17.
func chain(n, start int, move func(from, to int) float64) float64 {
	a := make([][]float64, n)
	for i := range a {
		a[i] = make([]float64, n+1)
		for j := range n {
			a[i][j] = -move(i, j)
		}
		a[i][i]++
		a[i][n] = 1
	}
	for k := range n {
		for i := k + 1; i < n; i++ {
			f := a[i][k] / a[k][k]
			if f == 0 {
				continue
			}
			for j := k; j <= n; j++ {
				a[i][j] -= f * a[k][j]
			}
		}
	}
	length := make([]float64, n)
	for i := n - 1; i >= 0; i-- {
		sum := a[i][n]
		for j := i + 1; j < n; j++ {
			sum -= a[i][j] * length[j]
		}
		length[i] = sum / a[i][i]
	}
	return length[start]
}
