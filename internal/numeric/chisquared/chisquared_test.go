package chisquared

import (
	"math"
	"testing"
)

func agrees(got, want, relative float64) bool {
	return got == want || math.Abs(got-want) <= relative*math.Abs(want)
}

// TestChiSquaredTable: upper critical values of NIST/SEMATECH e-Handbook of Statistical
// Methods, 1.3.6.7.4 (the same as Abramowitz and Stegun, table 26.8), FROM MEMORY. They
// are printed to three decimals, so the tail at half a unit below and above the last
// one lies on either side of the probability.
func TestChiSquaredTable(t *testing.T) {
	probability := []float64{0.99, 0.95, 0.90, 0.10, 0.05, 0.025, 0.01, 0.001}
	for n, critical := range map[int][]float64{
		1:   {0.000, 0.004, 0.016, 2.706, 3.841, 5.024, 6.635, 10.828},
		2:   {0.020, 0.103, 0.211, 4.605, 5.991, 7.378, 9.210, 13.816},
		3:   {0.115, 0.352, 0.584, 6.251, 7.815, 9.348, 11.345, 16.266},
		4:   {0.297, 0.711, 1.064, 7.779, 9.488, 11.143, 13.277, 18.467},
		5:   {0.554, 1.145, 1.610, 9.236, 11.070, 12.833, 15.086, 20.515},
		10:  {2.558, 3.940, 4.865, 15.987, 18.307, 20.483, 23.209, 29.588},
		20:  {8.260, 10.851, 12.443, 28.412, 31.410, 34.170, 37.566, 45.315},
		30:  {14.953, 18.493, 20.599, 40.256, 43.773, 46.979, 50.892, 59.703},
		50:  {29.707, 34.764, 37.689, 63.167, 67.505, 71.420, 76.154, 86.661},
		100: {70.065, 77.929, 82.358, 118.498, 124.342, 129.561, 135.807, 149.449},
	} {
		for i, x := range critical {
			below, above := Tail(x-0.00051, n), Tail(x+0.00051, n)
			if !(above < probability[i] && probability[i] < below) {
				t.Errorf("%d degrees: the tail at %g goes from %.8f to %.8f, which does not hold %g",
					n, x, below, above, probability[i])
			}
		}
	}
}

// TestChiSquaredClosed: with an even number of degrees the tail is a sum of Poisson
// probabilities (Abramowitz and Stegun, 26.4.21), exp(−x/2) with two; with one it is
// that of a Gaussian in both directions (26.4.4).
func TestChiSquaredClosed(t *testing.T) {
	for _, x := range []float64{1e-9, 0.01, 0.5, 1, 2, 2.999, 3, 3.001, 5, 10, 50, 200, 1000} {
		if got, want := Tail(x, 1), math.Erfc(math.Sqrt(x/2)); !agrees(got, want, 1e-11) {
			t.Errorf("1 degree at %g: %.15g, want %.15g", x, got, want)
		}
		term, sum := math.Exp(-x/2), 0.0
		for n := 2; n <= 60; n += 2 {
			sum += term
			if got := Tail(x, n); !agrees(got, sum, 1e-11) {
				t.Errorf("%d degrees at %g: %.15g, want %.15g", n, x, got, sum)
			}
			term *= x / float64(n)
		}
	}
}

// TestChiSquaredRecurrence: two more degrees add (x/2)^(n/2)·exp(−x/2)/Γ(n/2+1), even or
// odd (Abramowitz and Stegun, 26.4.8). Points lie on both sides of where the series
// gives way to the continued fraction, x = n + 2.
func TestChiSquaredRecurrence(t *testing.T) {
	for n := 1; n <= 400; n++ {
		a := float64(n) / 2
		logGamma, _ := math.Lgamma(a + 1)
		for _, part := range []float64{0.5, 0.9, 0.999999, 1.000001, 1.1, 2} {
			x := part * float64(n+2)
			more := math.Exp(a*math.Log(x/2) - x/2 - logGamma)
			got, want := Tail(x, n+2), Tail(x, n)+more
			if !agrees(got, want, 1e-11) {
				t.Errorf("%d degrees at %g: %.15g, want %.15g", n+2, x, got, want)
			}
		}
	}
}

// TestChiSquaredOrder: the tail falls with x, also across the change of method, and
// rises with the degrees of freedom; it stays a probability.
func TestChiSquaredOrder(t *testing.T) {
	for _, n := range []int{1, 2, 7, 40, 500} {
		last := 1.0
		for k := 1; k <= 400; k++ {
			x := float64(n+2) * float64(k) / 100
			got := Tail(x, n)
			if !(got >= 0 && got <= last) || got > Tail(x, n+1) {
				t.Fatalf("%d degrees at %g: %g after %g, and %g with one more", n, x, got, last, Tail(x, n+1))
			}
			last = got
		}
	}
}

// TestChiSquaredEdges: the tail is 1 without degrees of freedom or for a sum of 0 or less, and 0
// for a sum that is not a number.
func TestChiSquaredEdges(t *testing.T) {
	inf := math.Inf(1)
	for _, c := range []struct {
		x    float64
		n    int
		want float64
	}{
		{0, 3, 1}, {-1, 3, 1}, {5, 0, 1}, {5, -2, 1}, {inf, 3, 0}, {math.NaN(), 3, 0}, {1e6, 3, 0}, {1e-300, 1, 1},
	} {
		if got := Tail(c.x, c.n); got != c.want {
			t.Errorf("%d degrees at %g: %g, want %g", c.n, c.x, got, c.want)
		}
	}
}
