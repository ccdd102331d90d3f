package leastsquares

import (
	"math"
	"testing"
)

// flat is a polynomial in x, or a plane in several x, with uncertainties of 1.
type flat struct{ set certified }

func (f flat) Size() (int, int) { return len(f.set.y), len(f.set.parameters) }

func (f flat) Evaluate(b, residuals []float64, jacobian *Matrix) error {
	for i, y := range f.set.y {
		x, p := f.set.x[i], 1.0
		residuals[i] = y
		for j := range b {
			if j > 0 && len(x) > 1 {
				p = x[j-1]
			} else if j > 0 {
				p *= x[0]
			}
			residuals[i] -= b[j] * p
			if jacobian != nil {
				jacobian.Row(i)[j] = -p
			}
		}
	}
	return nil
}

func TestCertifiedLinear(t *testing.T) {
	for _, c := range []struct {
		name string
		want agreed
	}{
		{"Norris", agreed{12, 13, 0}},
		{"Longley", agreed{12, 12, 0}},
		// The columns are powers of x up to the tenth, with a condition number of 1.77e15:
		// rounding x¹⁰ alone moves the answer in its eighth digit.
		{"Filip", agreed{7, 7, 0}},
	} {
		set := readLinear(t, c.name)
		f, err := Solve(flat{set}, make([]float64, len(set.parameters)), nil, Options{})
		if err != nil {
			t.Fatal(err)
		}
		set.compare(t, c.name, f, c.want)
		// A linear problem needs one update; Filip, with its rounding, needs more.
		if f.Evaluations > 2 && c.name != "Filip" {
			t.Errorf("%s: %d evaluations, want 2", c.name, f.Evaluations)
		}
	}
}

// TestNorrisCovariance: the covariance of intercept and slope is that of the
// regression test of the GNU Scientific Library for NIST's Norris, which scales it by
// the residual variance.
func TestNorrisCovariance(t *testing.T) {
	set := readLinear(t, "Norris")
	f, err := Solve(flat{set}, []float64{0, 0}, nil, Options{})
	if err != nil {
		t.Fatal(err)
	}
	got := f.Covariance.At(0, 1) * f.SumSquares / float64(len(set.y)-2)
	if d := agreement([]float64{got}, []float64{-7.74327536339570e-05}, 15); d < 10 {
		t.Errorf("covariance %g agrees to %.1f digits, want 10", got, d)
	}
}

// TestThermometer is JCGM 100:2008 (GUM), H.3: a calibration line b = y₁ + y₂·(t − 20 °C)
// from Table H.6. The printed values are followed by the digits that the same data
// give in high precision.
func TestThermometer(t *testing.T) {
	temperature := []float64{21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511}
	set := certified{
		y:                 []float64{-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160},
		parameters:        []float64{-0.171203790131, 0.00218269773989}, // −0.1712, 0.00218
		deviations:        []float64{0.002877597835, 0.0006679387732},   // 0.0029, 0.00067
		sumSquares:        0.000110096583109,
		residualDeviation: 0.003497563964, // 0.0035
	}
	for _, x := range temperature {
		set.x = append(set.x, []float64{x - 20})
	}
	f, err := Solve(flat{set}, []float64{0, 0}, nil, Options{})
	if err != nil {
		t.Fatal(err)
	}
	set.compare(t, "H.3", f, agreed{9, 8, 0})
	c := f.Covariance
	if r := c.At(0, 1) / math.Sqrt(c.At(0, 0)*c.At(1, 1)); math.Abs(r+0.9304296031) > 1e-9 { // −0.930
		t.Errorf("correlation %.10f, want -0.9304296031", r)
	}
	// The correction at 30 °C, b = −0.1494 °C, u = 0.0041 °C (H.3.4).
	b := f.X[0] + 10*f.X[1]
	u := set.residualDeviation * math.Sqrt(c.At(0, 0)+20*c.At(0, 1)+100*c.At(1, 1))
	if math.Abs(b+0.149376812732) > 1e-11 || math.Abs(u-0.004138595753) > 1e-10 {
		t.Errorf("b(30 °C) = %.12f, u = %.12f, want -0.149376812732, 0.004138595753", b, u)
	}
}
