package estimate

import (
	"math"
	"slices"
	"testing"

	"ohmkeep/internal/leastsquares"
)

// How far a reel lies from its foil: a tenth of the foil's factor is a deviation, far out a
// square grows like its root, 2c²·(√(1 + r²/c²) − 1) with c = 1.5; a foil of next to no copper
// is one of factorLeast, on which nothing depends. Slopes are against differences.
func TestAlike(t *testing.T) {
	a := alike{rails: [2]int{0, 1}, whole: 2}
	const c = 1.5
	for _, x := range [][]float64{{1, 1, 1}, {1.1, 1.1, 1}, {0.9, 0.7, 1}, {2.2, 1.8, 1}, {1, 1.2, 1.3}, {1, 1, 0.01}} {
		r := ((x[0]+x[1])/2/max(x[2], factorLeast) - 1) / foilSpread
		want := math.Copysign(c*math.Sqrt(2*(math.Sqrt(1+r*r/c/c)-1)), r)
		row := make([]float64, 3)
		z := a.row(x, row)
		if math.Abs(z-want) > 1e-6 {
			t.Errorf("%v lies %g off, want %g", x, z, want)
		}
		for j := range x {
			const h = 1e-6
			up, down := slices.Clone(x), slices.Clone(x)
			up[j], down[j] = x[j]+h, x[j]-h
			high, _, _ := a.residual(up)
			low, _, _ := a.residual(down)
			if slope := (high - low) / (2 * h); math.Abs(row[j]-slope) > 1e-4*math.Max(1, math.Abs(slope)) {
				t.Errorf("%v: slope by %d is %g, by differences %g", x, j, row[j], slope)
			}
		}
	}
	a.idle = true
	if z, rails, whole := a.residual([]float64{2, 2, 1}); z != 0 || rails != 0 || whole != 0 {
		t.Errorf("left out it lies %g off, slopes %g and %g", z, rails, whole)
	}
}

// What is known of a reel from its foil alone cannot be taken out: nothing would be left. It
// stays, and nothing is changed; where half of it is from elsewhere, the variance doubles.
func TestDrop(t *testing.T) {
	for _, rest := range []float64{0, 0.5} {
		e := &Estimate{x: []float64{1, 1, 1}, linear: []float64{1, 1, 1}, covariance: leastsquares.NewMatrix(3, 3), sum: 7}
		a := &alike{rails: [2]int{0, 1}, whole: 2}
		row := make([]float64, 3)
		a.row(e.x, row)
		v := (1 - rest) / (row[0] * row[0]) // all that is unknown is one rail
		e.covariance.Row(0)[0] = v
		done := e.drop(a)
		want := v
		if rest > 0 {
			want = v / rest
		}
		if done != (rest > 0) || a.idle != done || !alikeTo(e.covariance.At(0, 0), want, 1e-9) || e.sum != 7 || !slices.Equal(e.x, []float64{1, 1, 1}) {
			t.Errorf("with %g from elsewhere: dropped %v, variance %g, want %g; sum %g, %v", rest, done, e.covariance.At(0, 0), want, e.sum, e.x)
		}
	}
}
