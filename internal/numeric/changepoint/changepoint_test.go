package changepoint

import (
	"math"
	"math/rand/v2"
	"testing"
)

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s is %.8g, not %g", what, got, want)
	}
}

// NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3: target 325, k = 0.3175,
// h = 4.1959; the sums as printed, with two decimals.
func TestCusumPublished(t *testing.T) {
	x := []float64{324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600,
		324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350}
	high := []float64{0, 0, 0, 0, 0.03, 0, 0, 0, 0, 0, 0, 0, 3.01, 4.94, 7.45, 10.63, 11.99, 14.44, 16.00, 19.04}
	low := []float64{0, 0.01, 0, 0.33, 0, 0, 0.56, 0.72, 0.17, 0.25, 0.31, 0, 0, 0, 0, 0, 0, 0, 0, 0}
	c := Cusum{Slack: 0.3175, Limit: 4.1959}
	for i := range x {
		if signal := c.Add(x[i] - 325); signal != (i >= 13) {
			t.Errorf("group %d signals: %v", i+1, signal)
		}
		near(t, "upper sum", c.High, high[i], 0.005+1e-9)
		near(t, "lower sum", c.Low, low[i], 0.005+1e-9)
	}
}

// NIST/SEMATECH e-Handbook, 6.3.2.4: weight 0.3, mean 50, deviation 2.0539, width 3;
// the averages as printed, and limits of 52.5884 and 47.4115.
func TestEwmaPublished(t *testing.T) {
	x := []float64{52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1}
	mean := []float64{50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99}
	const deviation = 2.0539
	e := Ewma{Weight: 0.3, Width: 3}
	near(t, "upper limit", 50+deviation*e.Limit(), 52.5884, 1e-4)
	near(t, "lower limit", 50-deviation*e.Limit(), 47.4115, 1e-4)
	for i := range x {
		if e.Add((x[i] - 50) / deviation) {
			t.Errorf("value %d signals", i+1)
		}
		near(t, "average", 50+deviation*e.Mean, mean[i], 0.005+1e-9)
	}
	if !(&Ewma{Weight: 0.3, Width: 3}).Add(10) {
		t.Error("a wild value does not signal")
	}
}

// Average run lengths: two-sided CUSUM of k = 0.5 (Montgomery; NIST/SEMATECH e-Handbook
// 6.3.2.3.1) and EWMA (Lucas and Saccucci, Technometrics 32 (1990), table 3), recomputed
// by integral equation; rounded they are the published ones FROM MEMORY.
func TestRunLengthsPublished(t *testing.T) {
	shifts := []float64{0, 0.25, 0.5, 0.75, 1, 1.5, 2, 3}
	for limit, want := range map[float64][]float64{
		4: {167.68, 74.22, 26.63, 13.29, 8.38, 4.75, 3.34, 2.19},
		5: {465.44, 139.49, 38.00, 17.05, 10.38, 5.75, 4.01, 2.57},
	} {
		for i, shift := range shifts {
			near(t, "CUSUM's run length", Cusum{Slack: 0.5, Limit: limit}.RunLength(shift), want[i], 0.01*want[i])
		}
	}
	for _, c := range []struct {
		weight, width float64
		want          []float64
	}{
		{0.4, 3.054, []float64{500, 223.7, 71.2, 28.4, 14.3, 5.9, 3.5, 2.0}},
		{0.1, 2.814, []float64{500, 106.3, 31.3, 15.9, 10.3, 6.1, 4.4, 2.9}},
		{0.05, 2.615, []float64{500, 84.0, 28.8, 16.4, 11.4, 7.1, 5.2, 3.5}},
	} {
		for i, shift := range shifts {
			near(t, "EWMA's run length", Ewma{Weight: c.weight, Width: c.width}.RunLength(shift), c.want[i], 0.01*c.want[i]+0.05)
		}
	}
}

// series makes points with errors of 1.
func series(n int, seed uint64, truth func(x float64) float64) (x, y, w []float64) {
	rng := rand.New(rand.NewPCG(seed, 3))
	for i := range n {
		x = append(x, 20000+float64(i))
		y = append(y, truth(float64(i))+rng.NormFloat64())
		w = append(w, 1)
	}
	return x, y, w
}

// A jump and a bend are found at their place and with their size, and a fit of the right shape
// has the smaller sum of squares.
func TestBest(t *testing.T) {
	for seed := range uint64(20) {
		x, y, w := series(100, seed, func(x float64) float64 {
			if x >= 60 {
				return 13
			}
			return 5
		})
		step, bend := Best(x, y, w, false)
		null := Null(x, y, w, false)
		if step.At != 60 || math.Abs(step.Size-8) > 4*step.Error || math.Abs(step.Level-5) > 0.7 || step.Rest > bend.Rest || null-step.Rest < 1000 {
			t.Errorf("seed %d: %+v beside %+v, null %g", seed, step, bend, null)
		}
		x, y, w = series(100, seed, func(x float64) float64 { return 5 + 0.3*math.Max(0, x-60) })
		step, bend = Best(x, y, w, false)
		if bend.At < 54 || bend.At > 66 || math.Abs(bend.Size-0.3) > 0.06 || bend.Rest > step.Rest {
			t.Errorf("seed %d: %+v beside %+v", seed, bend, step)
		}
		x, y, w = series(100, seed, func(x float64) float64 {
			if x >= 30 {
				return 0.2*x + 9
			}
			return 0.2 * x
		})
		if step, _ = Best(x, y, w, true); step.At != 30 || math.Abs(step.Size-9) > 4*step.Error {
			t.Errorf("seed %d: on a slope %+v", seed, step)
		}
	}
}

// The sum of squares of Best is that of a direct fit. Points of weight 0 have no effect.
func TestBestAgainstTheDefinition(t *testing.T) {
	x, y, w := series(12, 9, func(x float64) float64 { return x / 3 })
	w[4], y[4] = 0, 1e6
	step, _ := Best(x, y, w, false)
	mean := func(from, to int) (m, rest float64) {
		n := 0.0
		for i := from; i < to; i++ {
			m += w[i] * y[i]
			n += w[i]
		}
		m /= n
		for i := from; i < to; i++ {
			rest += w[i] * (y[i] - m) * (y[i] - m)
		}
		return m, rest
	}
	before, rest1 := mean(0, step.At)
	after, rest2 := mean(step.At, len(x))
	near(t, "size", step.Size, after-before, 1e-9)
	near(t, "level", step.Level, before, 1e-9)
	near(t, "rest", step.Rest, rest1+rest2, 1e-9)
	for k := 1; k < len(x); k++ {
		_, a := mean(0, k)
		_, b := mean(k, len(x))
		if a+b < step.Rest-1e-9 {
			t.Errorf("a step at %d leaves %g, less than %g", k, a+b, step.Rest)
		}
	}
}
