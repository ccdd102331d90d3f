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
			high, _ := a.Residual(up)
			low, _ := a.Residual(down)
			if slope := (high - low) / (2 * h); math.Abs(row[j]-slope) > 1e-4*math.Max(1, math.Abs(slope)) {
				t.Errorf("%v: slope by %d is %g, by differences %g", x, j, row[j], slope)
			}
		}
	}
}
