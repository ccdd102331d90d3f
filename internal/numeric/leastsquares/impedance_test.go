package leastsquares

import (
	"math"
	"testing"
)

// Table H.2 of JCGM 100:2008 (GUM), H.2: five simultaneous readings of the amplitudes
// of voltage and current of an impedance and of the phase between them.
var (
	volts = []float64{5.007, 4.994, 5.005, 4.990, 4.999}
	amps  = []float64{0.019663, 0.019639, 0.019640, 0.019685, 0.019678}
	phase = []float64{1.0456, 1.0438, 1.0468, 1.0428, 1.0433}
)

// impedance fits resistance, reactance and the current's amplitude to the fifteen
// readings. The five of a set are correlated between quantities, so each set's three
// residuals are whitened with the triangle of the readings' own covariance.
type impedance struct{ whiten [3][3]float64 }

func (m impedance) Size() (int, int) { return 15, 3 }

func (m impedance) Evaluate(x, residuals []float64, jacobian *Matrix) error {
	r, reactance, i := x[0], x[1], x[2]
	z := math.Hypot(r, reactance)
	predicted := [3]float64{i * z, i, math.Atan2(reactance, r)}
	slopes := [3][3]float64{
		{i * r / z, i * reactance / z, z},
		{0, 0, 1},
		{-reactance / z / z, r / z / z, 0},
	}
	for k := range volts {
		read := [3]float64{volts[k], amps[k], phase[k]}
		for a := range 3 {
			residuals[3*k+a] = 0
			for b := range a + 1 {
				residuals[3*k+a] += m.whiten[a][b] * (read[b] - predicted[b])
			}
			if jacobian == nil {
				continue
			}
			row := jacobian.Row(3*k + a)
			for j := range row {
				row[j] = 0
				for b := range a + 1 {
					row[j] -= m.whiten[a][b] * slopes[b][j]
				}
			}
		}
	}
	return nil
}

// whitening is the inverse of the lower triangle of the readings' covariance.
func whitening() (w [3][3]float64) {
	read := [3][]float64{volts, amps, phase}
	var mean [3]float64
	for a, v := range read {
		for _, x := range v {
			mean[a] += x / 5
		}
	}
	var l [3][3]float64
	for a := range 3 {
		for b := range a + 1 {
			sum := 0.0
			for k := range volts {
				sum += (read[a][k] - mean[a]) * (read[b][k] - mean[b]) / 4
			}
			for c := range b {
				sum -= l[a][c] * l[b][c]
			}
			if a == b {
				l[a][a] = math.Sqrt(sum)
			} else {
				l[a][b] = sum / l[b][b]
			}
		}
	}
	for j := range 3 {
		for i := j; i < 3; i++ {
			sum := 0.0
			if i == j {
				sum = 1
			}
			for k := j; k < i; k++ {
				sum -= l[i][k] * w[k][j]
			}
			w[i][j] = sum / l[i][i]
		}
	}
	return w
}

// TestImpedance is JCGM 100:2008, H.2, Table H.4, as least squares. The printed values
// are 127.732 Ω (0.071), 219.847 Ω (0.295), 254.260 Ω (0.236) and the correlations
// −0.588, −0.485, 0.993; the digits used here are those that the same data give in
// high precision (u(X) = 0.29558, which rounds to 0.296).
func TestImpedance(t *testing.T) {
	f, err := Solve(impedance{whitening()}, []float64{100, 200, 0.02}, nil, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if !f.Converged || f.Singular {
		t.Fatalf("converged %v, singular %v", f.Converged, f.Singular)
	}
	z := math.Hypot(f.X[0], f.X[1])
	along := []float64{f.X[0] / z, f.X[1] / z, 0} // ∂Z/∂x
	rows := [][]float64{{1, 0, 0}, {0, 1, 0}, along}
	covariance := func(a, b []float64) float64 {
		sum := 0.0
		for i := range a {
			for j := range b {
				sum += a[i] * f.Covariance.At(i, j) * b[j]
			}
		}
		return sum
	}
	for i, c := range []struct{ value, want, deviation float64 }{
		{f.X[0], 127.732169928, 0.0710714074},
		{f.X[1], 219.846511913, 0.2955816774},
		{z, 254.259701948, 0.2363361301},
	} {
		if u := math.Sqrt(covariance(rows[i], rows[i])); math.Abs(c.value-c.want) > 1e-8 || math.Abs(u-c.deviation) > 1e-9 {
			t.Errorf("%.9f (%.10f), want %.9f (%.10f)", c.value, u, c.want, c.deviation)
		}
	}
	for _, c := range []struct {
		a, b int
		want float64
	}{{0, 1, -0.58842978}, {0, 2, -0.48525922}, {1, 2, 0.99251165}} {
		r := covariance(rows[c.a], rows[c.b]) / math.Sqrt(covariance(rows[c.a], rows[c.a])*covariance(rows[c.b], rows[c.b]))
		if math.Abs(r-c.want) > 1e-8 {
			t.Errorf("correlation of %d and %d: %.8f, want %.8f", c.a, c.b, r, c.want)
		}
	}
}
