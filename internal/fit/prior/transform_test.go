package prior

import (
	"math"
	"testing"
)

// The smoothed resistance agrees with the resistance away from zero, and its derivative is right
// everywhere.
func TestSmoothOhms(t *testing.T) {
	for _, ohms := range []float64{0.01, 0.1, 5} {
		if got, _ := smoothOhms(Transform(ohms)); math.Abs(got-ohms) > smoothingOhms*smoothingOhms/ohms*1.01 {
			t.Errorf("%g Ω count as %g", ohms, got)
		}
	}
	last := 0.0
	for _, at := range []float64{-0.9, -0.1, -0.003, -0.001, 0, 0.0002, 0.002, 0.3, 0.99, 1.2} {
		got, slope := smoothOhms(at)
		h := 1e-6 * math.Max(math.Abs(at), 1e-3)
		up, _ := smoothOhms(at + h)
		down, _ := smoothOhms(at - h)
		if want := (up - down) / (2 * h); math.Abs(slope-want) > 1e-4*want+1e-9 {
			t.Errorf("slope %g at %g, by difference %g", slope, at, want)
		}
		if got <= last {
			t.Errorf("%g Ω at %g, after %g", got, at, last)
		}
		last = got
	}
}
