package verdict

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The half-width of the interval that holds 95 % of one rectangular error is 0.95 of its
// half-width (JCGM 100:2008, G.2.3: 0.95·√3 deviations); of two equal ones the sum is
// triangular, (1 − √0.05) of twice the half-width (4.3.9 and G.2.2).
func TestRectangularErrors(t *testing.T) {
	for _, c := range []struct {
		even [maxRectangularParts]float64
		want float64
	}{
		{[maxRectangularParts]float64{1}, 0.95},
		{[maxRectangularParts]float64{1, 1}, 2 * (1 - math.Sqrt(0.05))},
	} {
		variance := 0.0
		for _, half := range c.even {
			variance += half * half / 3
		}
		low, high := Belief{Mean: 10, Deviation: math.Sqrt(variance), RectangularHalfWidths: c.even}.Interval(0.95)
		if math.Abs(high-10-c.want) > 0.01 || math.Abs(10-low-c.want) > 0.01 {
			t.Errorf("%v: %g to %g, want ±%g", c.even, low-10, high-10, c.want)
		}
	}
}

// Against simulated sums, and against the normal distribution where the rectangular parts are small.
func TestSumsOfRectangularAndNormalErrors(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for range 20 {
		s := spread{gauss: 0.1 + rng.Float64()}
		for range 1 + rng.IntN(maxRectangularParts) {
			s.half = append(s.half, 0.2+2*rng.Float64())
		}
		x := 3 * rng.Float64()
		above := 0
		const n = 40000
		for range n {
			sum := s.gauss * rng.NormFloat64()
			for _, half := range s.half {
				sum += half * (2*rng.Float64() - 1)
			}
			if sum > x {
				above++
			}
		}
		want := float64(above) / n
		if got := s.above(x); math.Abs(got-want) > 4*math.Sqrt(want*(1-want)/n)+1e-4 {
			t.Errorf("%+v above %g: %g, simulated %g", s, x, got, want)
		}
		if math.Abs(s.above(x)+s.above(-x)-1) > 1e-9 {
			t.Errorf("%+v: not symmetric about zero at %g", s, x)
		}
		b := Belief{Deviation: s.gauss * s.gauss}
		for k, half := range s.half {
			b.RectangularHalfWidths[k] = half
			b.Deviation += half * half / 3
		}
		b.Deviation = math.Sqrt(b.Deviation)
		if p := s.above(b.upperQuantile(0.01)); math.Abs(p-0.01) > 1e-9 {
			t.Errorf("%+v: reach of 0.01 is exceeded with %g", s, p)
		}
	}
	small := spread{gauss: 1, half: []float64{0.1}}
	if got, want := small.above(2), upperTail(2/math.Sqrt(1+0.01/3)); math.Abs(got-want) > 1e-6 {
		t.Errorf("nearly Gaussian: %g, want %g", got, want)
	}
}

// ProbabilityAbove and Quantile agree, and a rectangular error makes a belief more certain.
func TestRectangularBelief(t *testing.T) {
	b := Belief{Mean: 5, Deviation: 1, RectangularHalfWidths: [maxRectangularParts]float64{1.6}}
	for _, p := range []float64{0.01, 0.3, 0.5, 0.9, 0.999} {
		if q := b.Quantile(p); math.Abs(1-b.ProbabilityAbove(q)-p) > 1e-9 {
			t.Errorf("quantile %g of %g: over %g", q, p, b.ProbabilityAbove(q))
		}
	}
	if plain := (Belief{Mean: 5, Deviation: 1}); b.ProbabilityAbove(7.5) >= plain.ProbabilityAbove(7.5) {
		t.Errorf("even %g, Gaussian %g", b.ProbabilityAbove(7.5), plain.ProbabilityAbove(7.5))
	}
	if over := (Belief{Mean: -9, Deviation: 1, RectangularHalfWidths: [maxRectangularParts]float64{1.6}}).ProbabilityAbove(1); over != (Belief{Mean: -9, Deviation: 1}).ProbabilityAbove(1) {
		t.Errorf("mostly below zero: %g", over)
	}
}

// A deviation that is known to a factor makes tails as Student's distribution has them: with ν
// degrees of freedom the logarithm of an experimental deviation has the standard deviation
// √ψ'(ν/2)/2, which is 0.235 for ten and 0.402 for four (computed). JCGM 100:2008, table G.2,
// has 2.23 and 2.78 deviations for 95 %; the mixture agrees within a twentieth.
func TestTails(t *testing.T) {
	for _, c := range []struct{ tail, want float64 }{{0, Coverage95}, {0.235, 2.23}, {0.402, 2.78}} {
		low, high := Belief{Mean: 100, Deviation: 1, DeviationSpread: c.tail}.Interval(0.95)
		if math.Abs(high-100-c.want) > 0.05*c.want || math.Abs(100-low-c.want) > 0.05*c.want {
			t.Errorf("tail %g: %g to %g, want ±%g", c.tail, low-100, high-100, c.want)
		}
	}
	b := Belief{Mean: 5, Deviation: 1, RectangularHalfWidths: [maxRectangularParts]float64{1.2}, DeviationSpread: 0.4}
	for _, p := range []float64{0.01, 0.3, 0.9, 0.999} {
		if q := b.Quantile(p); math.Abs(1-b.ProbabilityAbove(q)-p) > 1e-9 {
			t.Errorf("quantile %g of %g: over %g", q, p, b.ProbabilityAbove(q))
		}
	}
	if sharp := (Belief{Mean: 5, Deviation: 1}); sharp.ProbabilityAbove(9) > b.ProbabilityAbove(9) {
		t.Error("a tail makes what is far more certain")
	}
}
