package matrix

import (
	"math"
	"math/rand/v2"
	"testing"

	"ohmkeep/internal/numeric/leastsquares"
)

// The scalar product of two whitened functions is their covariance, also where a direction has no
// variance.
func TestWhitenedFunctionsHaveTheirCovariance(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 2))
	for _, n := range []int{1, 3, 8, 25} {
		c := random(rng, n)
		if n > 3 { // the third unknown has no variance
			for k := range n {
				c.Row(2)[k], c.Row(k)[2] = 0, 0
			}
		}
		root := RootOf(c)
		a, b := make([]float64, n), make([]float64, n)
		for i := range a {
			a[i], b[i] = rng.NormFloat64(), rng.NormFloat64()
		}
		dense := make([]float64, n)
		root.Whiten(b).AddTo(dense, 1)
		if got, want := root.Whiten(a).Dot(dense), Dot(a, Times(c, b)); !close(got, want) {
			t.Errorf("%d unknowns: covariance %g, want %g", n, got, want)
		}
		if got, want := root.Whiten(a).Square(), Quadratic(c, a); !close(got, want) {
			t.Errorf("%d unknowns: variance %g, want %g", n, got, want)
		}
	}
}

// Many unknowns that scatter about a common one, which comes last, have a root with two entries a
// row.
func TestRootStaysSparse(t *testing.T) {
	const n = 50
	c := leastsquares.NewMatrix(n, n)
	for i := range n {
		for j := range n {
			c.Row(i)[j] = 0.09
		}
		if i < n-1 {
			c.Row(i)[i] += 0.01
		}
	}
	root := RootOf(c)
	for i, row := range root.rows {
		if len(row.at) > 2 {
			t.Fatalf("row %d has %d entries", i, len(row.at))
		}
	}
}

// Variances with all readings added are those of narrowing the covariance by one after the other,
// and functions whitened by them have the covariances that are left. A variance that a reading
// reduces by a factor of 10¹² is right too, where narrowing loses its digits.
func TestInformationIsNarrowing(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 3))
	const n = 12
	c := random(rng, n)
	root, information := RootOf(c), NewInformation(n)
	narrowed := c.Clone()
	for range 20 {
		row := make([]float64, n)
		for i := range row {
			if rng.IntN(3) == 0 {
				row[i] = rng.NormFloat64()
			}
		}
		information.Add(root.Whiten(row))
		Narrow(narrowed, row)
	}
	a, b := make([]float64, n), make([]float64, n)
	for i := range n {
		a[i], b[i] = rng.NormFloat64(), rng.NormFloat64()
	}
	dense := make([]float64, n)
	information.Whiten(root.Whiten(b)).AddTo(dense, 1)
	if got, want := information.Whiten(root.Whiten(a)).Dot(dense), Dot(a, Times(narrowed, b)); !close(got, want) {
		t.Errorf("covariance %g, want %g", got, want)
	}
	if got, want := information.Variance(root.Whiten(a)), Quadratic(narrowed, a); !close(got, want) {
		t.Errorf("variance %g, want %g", got, want)
	}
	clear(a)
	a[5] = 1e6
	information.Add(root.Whiten(a))
	a[5] = 1
	if got := information.Variance(root.Whiten(a)); math.Abs(got*1e12-1) > 1e-3 {
		t.Errorf("an unknown read at 1e-6 has a variance of %g", got)
	}
}

// Negligible entries of a vector are left out; entries that are not a number stay.
func TestSparse(t *testing.T) {
	s := SparseOf([]float64{0, 2, -1e-13, math.NaN()}, 1e-12)
	if len(s.at) != 2 || s.at[0] != 1 || !math.IsNaN(s.value[1]) {
		t.Errorf("%+v", s)
	}
}
