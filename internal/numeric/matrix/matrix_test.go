package matrix

import (
	"math"
	"math/rand/v2"
	"testing"

	"ohmkeep/internal/numeric/leastsquares"
)

// random is a covariance matrix: G·Gᵀ with a random G.
func random(rng *rand.Rand, n int) *leastsquares.Matrix {
	g, c := leastsquares.NewMatrix(n, n), leastsquares.NewMatrix(n, n)
	for i := range g.Data {
		g.Data[i] = rng.NormFloat64()
	}
	for i := range n {
		for j := range n {
			c.Row(i)[j] = Dot(g.Row(i), g.Row(j))
		}
	}
	return c
}

func close(got, want float64) bool { return math.Abs(got-want) <= 1e-7*(1+math.Abs(want)) }

// A factor times its transpose is the matrix, and so is the inverse of the inverse. A matrix
// times its inverse is the unit matrix. The factor's column of an unknown without variance is
// zero, and such a matrix has no inverse.
func TestFactorAndInverse(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 9))
	for _, n := range []int{1, 2, 7, 20} {
		c := random(rng, n)
		l := Factor(c)
		back := Inverse(c)
		for i := range n {
			for j := range n {
				sum := 0.0
				for k := range n {
					sum += l[i*n+k] * l[j*n+k]
				}
				if !close(sum, c.At(i, j)) || j > i && l[i*n+j] != 0 {
					t.Errorf("%d: L·Lᵀ has %g at %d,%d, not %g", n, sum, i, j, c.At(i, j))
				}
				one := 0.0
				if i == j {
					one = 1
				}
				if got := Dot(Times(back, c.Row(j)), unit(n, i)); math.Abs(got-one) > 1e-6 {
					t.Errorf("%d: C⁻¹·C has %g at %d,%d", n, got, i, j)
				}
			}
		}
	}
	flat := random(rng, 3)
	for k := range 3 {
		flat.Row(1)[k], flat.Row(k)[1] = 0, 0
	}
	if l := Factor(flat); l[3] != 0 || l[4] != 0 || l[7] != 0 {
		t.Errorf("a direction without variance: %v", l)
	}
	if Inverse(flat) != nil {
		t.Error("a singular matrix has an inverse")
	}
}

func unit(n, i int) []float64 {
	v := make([]float64, n)
	v[i] = 1
	return v
}

// A reading adds r·rᵀ to the inverse of the covariance (the information); Narrow gives the inverse
// of that sum.
func TestNarrowAddsInformation(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	c := random(rng, 6)
	row := make([]float64, 6)
	for i := range row {
		row[i] = rng.NormFloat64()
	}
	row[2] = 0
	information := Inverse(c)
	for i, a := range row {
		for j, b := range row {
			information.Row(i)[j] += a * b
		}
	}
	want, got := Inverse(information), c.Clone()
	Narrow(got, row)
	for i := range want.Data {
		if !close(got.Data[i], want.Data[i]) {
			t.Fatalf("entry %d: %g, not %g", i, got.Data[i], want.Data[i])
		}
	}
	if before, after := Quadratic(c, row), Quadratic(got, row); !close(after, before/(1+before)) {
		t.Errorf("its own variance goes from %g to %g", before, after)
	}
}

// Widen is the inverse of Narrow.
func TestWiden(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 9))
	c := random(rng, 6)
	was := c.Clone()
	row := make([]float64, 6)
	for i := range row {
		row[i] = rng.NormFloat64()
	}
	Narrow(c, row)
	if close(c.At(0, 0), was.At(0, 0)) {
		t.Error("a reading narrows nothing")
	}
	Widen(c, row)
	for i := range c.Data {
		if !close(c.Data[i], was.Data[i]) {
			t.Errorf("entry %d is %g again, not %g", i, c.Data[i], was.Data[i])
		}
	}
}
