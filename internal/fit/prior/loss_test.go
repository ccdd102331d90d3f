package prior

import (
	"math"
	"testing"
)

// The losses agree with their formulae, and their slopes with differences.
func TestLosses(t *testing.T) {
	for _, r := range []float64{-30, -2, -1e-3, 0.5, 7} {
		const c, h = 1.5, 1e-5
		for name, f := range map[string]func(r, c float64) (float64, float64){"soften": CauchyLoss, "lighten": pseudoHuberLoss} {
			want := c * c * math.Log1p(r*r/(c*c))
			if name == "lighten" {
				want = 2 * c * c * (math.Sqrt(1+r*r/(c*c)) - 1)
			}
			got, slope := f(r, c)
			up, _ := f(r+h, c)
			down, _ := f(r-h, c)
			if math.Abs(got*got-want) > 1e-6*want || got*r < 0 || math.Abs(slope-(up-down)/(2*h)) > 1e-5 {
				t.Errorf("%s(%g) = %g, slope %g; want a square of %g and a slope of %g", name, r, got, slope, want, (up-down)/(2*h))
			}
		}
	}
}
