package prior

import (
	"math"
	"slices"
	"testing"
)

// The residual of a reel: a tenth of the foil's factor is one standard deviation r, and the square
// of the residual is 2c²·(√(1 + r²/c²) − 1) with c = 1.5. A foil factor below MinFactor is taken as
// MinFactor, and has no influence. Derivatives are compared with differences.
func TestFoilPrior(t *testing.T) {
	a := FoilPrior{Rails: [2]int{0, 1}, FoilFactor: 2}
	const c = 1.5
	for _, x := range [][]float64{{1, 1, 1}, {1.1, 1.1, 1}, {0.9, 0.7, 1}, {2.2, 1.8, 1}, {1, 1.2, 1.3}, {1, 1, 0.01}} {
		r := ((x[0]+x[1])/2/max(x[2], MinFactor) - 1) / foilSpread
		want := math.Copysign(c*math.Sqrt(2*(math.Sqrt(1+r*r/c/c)-1)), r)
		row := make([]float64, 3)
		z := a.Row(x, row)
		if math.Abs(z-want) > 1e-6 {
			t.Errorf("%v lies %g off, want %g", x, z, want)
		}
		for j := range x {
			const h = 1e-6
			up, down := slices.Clone(x), slices.Clone(x)
			up[j], down[j] = x[j]+h, x[j]-h
			high, _, _ := a.Residual(up)
			low, _, _ := a.Residual(down)
			if slope := (high - low) / (2 * h); math.Abs(row[j]-slope) > 1e-4*math.Max(1, math.Abs(slope)) {
				t.Errorf("%v: slope by %d is %g, by differences %g", x, j, row[j], slope)
			}
		}
	}
	a.Disabled = true
	if z, rails, whole := a.Residual([]float64{2, 2, 1}); z != 0 || rails != 0 || whole != 0 {
		t.Errorf("left out it lies %g off, slopes %g and %g", z, rails, whole)
	}
}

// A split with an open conductor has no residual.
func TestDisabledSplit(t *testing.T) {
	x := []float64{MaxTransformed, Transform(0.002)}
	s := Split{Rails: [2]int{0, 1}, Transformed: true, ShareAbout: EvenShare, Spread: FeedSplitSpread, Wire: 0.08}
	row := make([]float64, 2)
	if z := s.Row(x, row); z == 0 {
		t.Fatal("it says nothing even while it is not idle")
	}
	s.Disabled = true
	if z := s.Row(x, row); z != 0 || row[0] != 0 || row[1] != 0 {
		t.Errorf("%g deviations off, slopes %v", z, row)
	}
}
