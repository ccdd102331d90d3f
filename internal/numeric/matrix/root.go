package matrix

import (
	"math"

	"ohmkeep/internal/numeric/leastsquares"
)

// Root is a square root G of a covariance C = G·Gᵀ. It turns linear functions of the unknowns into
// whitened ones: vectors whose scalar products are the functions' covariances.
type Root struct{ rows []Sparse }

// RootOf returns the upper triangular root of a covariance. Unknowns are eliminated from the last
// to the first, so that the root of a prior stays sparse where the unknowns that many others depend
// on come last. The column of an unknown without variance is zero.
func RootOf(covariance *leastsquares.Matrix) *Root {
	n := covariance.Rows
	rest := covariance.Clone() // only on and below the diagonal
	columns := make([][]float64, n)
	var few []int
	for j := n - 1; j >= 0; j-- {
		row := rest.Row(j)
		if !(row[j] > minRemaining*covariance.At(j, j)) {
			continue
		}
		length := math.Sqrt(row[j])
		column := make([]float64, j+1)
		columns[j], column[j] = column, length
		few = few[:0]
		for i, x := range row[:j] {
			if x != 0 {
				column[i] = x / length
				few = append(few, i)
			}
		}
		for a, i := range few {
			to := rest.Row(i)
			for _, k := range few[:a+1] {
				to[k] -= column[i] * column[k]
			}
		}
	}
	g := &Root{rows: make([]Sparse, n)}
	for j, column := range columns {
		for i, x := range column {
			if x != 0 {
				g.rows[i].at, g.rows[i].value = append(g.rows[i].at, j), append(g.rows[i].value, x)
			}
		}
	}
	return g
}

const (
	// minRemaining is the part of a variance below which what elimination leaves of it is rounding.
	minRemaining = 1e-14
	// negligible is the part of a whitened function, in standard deviations, that is left out. A
	// reading whose function lacks a part of length δ changes no variance by more than 2·δ of it.
	negligible = 1e-12
)

// Whiten returns Gᵀ·row, where row holds the derivatives of a function of the unknowns. Entries
// below 1e-12 are left out.
func (g *Root) Whiten(row []float64) Sparse {
	sum := make([]float64, len(g.rows))
	for i, d := range row {
		if d != 0 {
			g.rows[i].AddTo(sum, d)
		}
	}
	return SparseOf(sum, negligible)
}
