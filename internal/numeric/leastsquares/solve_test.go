package leastsquares

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// bowl is a model given by a function, for properties; its derivatives are exact.
type bowl struct {
	n, k int
	f    func(x, residuals []float64, jacobian *Matrix) error
}

func (b bowl) Size() (int, int) { return b.n, b.k }
func (b bowl) Evaluate(x, residuals []float64, jacobian *Matrix) error {
	return b.f(x, residuals, jacobian)
}

// decay reads a·exp(−b·t) + c at eight times with uncertainties of u.
func decay(u float64, read []float64) bowl {
	return bowl{len(read), 3, func(x, residuals []float64, jacobian *Matrix) error {
		for i, y := range read {
			t := float64(i) / 2
			e := math.Exp(-x[1] * t)
			residuals[i] = (y - x[0]*e - x[2]) / u
			if jacobian != nil {
				copy(jacobian.Row(i), []float64{-e / u, t * x[0] * e / u, -1 / u})
			}
		}
		return nil
	}}
}

var decaying = []float64{3.02, 2.31, 1.85, 1.54, 1.38, 1.24, 1.19, 1.10} // invented: 2·exp(−0.8·t) + 1 and noise

// linear is residuals = y − A·x.
func linear(a [][]float64, y []float64) bowl {
	return bowl{len(y), len(a[0]), func(x, residuals []float64, jacobian *Matrix) error {
		for i, row := range a {
			residuals[i] = y[i]
			for j, d := range row {
				residuals[i] -= d * x[j]
				if jacobian != nil {
					jacobian.Row(i)[j] = -d
				}
			}
		}
		return nil
	}}
}

func solve(t *testing.T, m Model, start []float64, prior *Prior) *Fit {
	t.Helper()
	f, err := Solve(m, start, prior, Options{})
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func alike(a, b []float64, relative float64) bool {
	for i := range a {
		if !(math.Abs(a[i]-b[i]) <= relative*math.Max(math.Abs(a[i]), math.Abs(b[i]))) {
			return false
		}
	}
	return len(a) == len(b)
}

// TestPriorIsAReading: knowing 0.9 ± 0.05 of a parameter before the readings is the same as
// reading it once more with that uncertainty.
func TestPriorIsAReading(t *testing.T) {
	plain := decay(0.03, decaying)
	none := math.Inf(1)
	known := solve(t, plain, []float64{1, 1, 0}, &Prior{[]float64{0, 0.9, math.NaN()}, []float64{none, 0.05, none}})
	more := bowl{plain.n + 1, 3, func(x, residuals []float64, jacobian *Matrix) error {
		if jacobian != nil {
			copy(jacobian.Row(plain.n), []float64{0, -1 / 0.05, 0})
		}
		residuals[plain.n] = (0.9 - x[1]) / 0.05
		return plain.f(x, residuals[:plain.n], jacobian)
	}}
	read := solve(t, more, []float64{1, 1, 0}, nil)
	if !alike(known.X, read.X, 1e-9) || !alike(known.Covariance.Data, read.Covariance.Data, 1e-8) ||
		!alike([]float64{known.SumSquares}, []float64{read.SumSquares}, 1e-12) {
		t.Errorf("with a prior %v %v %v\nread %v %v %v", known.X, known.Covariance, known.SumSquares, read.X, read.Covariance, read.SumSquares)
	}
}

// TestUnreadParameter: a parameter on which no reading depends keeps its prior mean and
// deviation exactly. Without a prior the fit is reported as singular, and the others are found.
func TestUnreadParameter(t *testing.T) {
	a := [][]float64{{1, 0, 2}, {1, 0, -1}, {3, 0, 1}, {1, 0, 1}}
	y := []float64{1, 2, 3, 2}
	none := math.Inf(1)
	f := solve(t, linear(a, y), []float64{0, 0, 0}, &Prior{[]float64{0, 7, 0}, []float64{none, 0.3, none}})
	if f.X[1] != 7 || math.Abs(f.Covariance.At(1, 1)-0.09) > 1e-16 || f.Covariance.At(0, 1) != 0 || f.Singular || !f.Converged {
		t.Errorf("unread parameter at %v with covariance %v", f.X[1], f.Covariance)
	}
	unread := solve(t, linear(a, y), []float64{0, 7, 0}, nil)
	if !unread.Singular || unread.Covariance != nil || !unread.Converged {
		t.Errorf("singular %v, covariance %v, converged %v", unread.Singular, unread.Covariance, unread.Converged)
	}
	if unread.X[1] != 7 || !alike([]float64{unread.X[0], unread.X[2]}, []float64{f.X[0], f.X[2]}, 1e-12) {
		t.Errorf("without a prior: %v, with a prior: %v", unread.X, f.X)
	}
}

// TestOnlyTheSumIsRead: readings depend only on the sum of two parameters. Priors of equal
// deviation divide it evenly; without priors the fit is singular.
func TestOnlyTheSumIsRead(t *testing.T) {
	for _, scale := range []float64{1, 1e-6, 1e6} {
		a := [][]float64{{1, scale, 0.3}, {1, scale, 0.1}, {1, scale, 0.7}}
		unread := solve(t, linear(a, []float64{4, 5, 6}), []float64{0, 0, 0}, nil)
		if !unread.Singular || !unread.Converged {
			t.Errorf("scale %g: singular %v, converged %v in %d", scale, unread.Singular, unread.Converged, unread.Evaluations)
		}
	}
	f := solve(t, linear([][]float64{{1e3, 1e3}}, []float64{4e3}), []float64{0, 0}, &Prior{[]float64{1, 1}, []float64{10, 10}})
	if !alike(f.X, []float64{2, 2}, 1e-6) || f.Singular {
		t.Errorf("split as %v, singular %v", f.X, f.Singular)
	}
	// u² of each is 10²/2 from the difference that was not read, and half of 1e-6/2.
	if u := f.Covariance.At(0, 0); math.Abs(u-50) > 1e-6 {
		t.Errorf("variance of each %v, want 50", u)
	}
}

func TestNoReadings(t *testing.T) {
	f := solve(t, bowl{0, 2, func(_, _ []float64, _ *Matrix) error { return nil }}, []float64{0, 0},
		&Prior{[]float64{1, -2}, []float64{0.1, 4}})
	if !alike(f.X, []float64{1, -2}, 0) || !alike(f.Covariance.Data, []float64{0.01, 0, 0, 16}, 1e-15) || !f.Converged {
		t.Errorf("%+v", f)
	}
}

// TestCovariance: the covariance times JᵀJ + P is the unit matrix.
func TestCovariance(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 20 {
		n, m := 1+rng.IntN(12), 1+rng.IntN(9)
		a, y := make([][]float64, n), make([]float64, n)
		prior := &Prior{make([]float64, m), make([]float64, m)}
		for j := range m {
			prior.Mean[j], prior.Deviation[j] = rng.NormFloat64(), 0.1+rng.Float64()
		}
		for i := range a {
			a[i], y[i] = make([]float64, m), rng.NormFloat64()
			for j := range a[i] {
				a[i][j] = rng.NormFloat64()
			}
		}
		f := solve(t, linear(a, y), make([]float64, m), prior)
		for r := range m {
			for c := range m {
				sum := 0.0
				for k := range m {
					entry := 0.0
					for i := range a {
						entry += a[i][r] * a[i][k]
					}
					if r == k {
						entry += 1 / prior.Deviation[k] / prior.Deviation[k]
					}
					sum += entry * f.Covariance.At(k, c)
				}
				if r == c {
					sum--
				}
				if math.Abs(sum) > 1e-11 {
					t.Fatalf("product is off by %g at %d, %d", sum, r, c)
				}
			}
		}
	}
}

// TestPermutation: the order of readings and of parameters changes nothing but last
// digits.
func TestPermutation(t *testing.T) {
	plain := decay(0.03, decaying)
	prior := &Prior{[]float64{2, 1, 1}, []float64{0.5, 1, 0.5}}
	first := solve(t, plain, []float64{1, 1, 0}, prior)
	rows, columns := []int{5, 2, 7, 0, 1, 6, 3, 4}, []int{2, 0, 1}
	swap := func(v []float64) []float64 {
		w := make([]float64, len(v))
		for j, c := range columns {
			w[j] = v[c]
		}
		return w
	}
	shuffled := bowl{plain.n, 3, func(x, residuals []float64, jacobian *Matrix) error {
		back := make([]float64, 3)
		for j, c := range columns {
			back[c] = x[j]
		}
		r, d := make([]float64, plain.n), NewMatrix(plain.n, 3)
		if err := plain.f(back, r, d); err != nil {
			return err
		}
		for i, from := range rows {
			residuals[i] = r[from]
			if jacobian != nil {
				copy(jacobian.Row(i), swap(d.Row(from)))
			}
		}
		return nil
	}}
	second := solve(t, shuffled, swap([]float64{1, 1, 0}), &Prior{swap(prior.Mean), swap(prior.Deviation)})
	if !alike(swap(first.X), second.X, 1e-9) {
		t.Errorf("%v, shuffled %v", swap(first.X), second.X)
	}
	for a, from := range columns {
		for b, other := range columns {
			if x, y := first.Covariance.At(from, other), second.Covariance.At(a, b); math.Abs(x-y) > 1e-8*math.Abs(x) {
				t.Errorf("covariance %g, shuffled %g", x, y)
			}
		}
	}
}

func TestRefitIsTheSame(t *testing.T) {
	a, b := solve(t, decay(0.03, decaying), []float64{1, 1, 0}, nil), solve(t, decay(0.03, decaying), []float64{1, 1, 0}, nil)
	if !alike(a.X, b.X, 0) || !alike(a.Covariance.Data, b.Covariance.Data, 0) || a.SumSquares != b.SumSquares {
		t.Errorf("%v and %v", a.X, b.X)
	}
	again := solve(t, decay(0.03, decaying), a.X, nil)
	if again.Evaluations != 1 || !alike(a.X, again.X, 0) {
		t.Errorf("from its own answer: %v after %d evaluations", again.X, again.Evaluations)
	}
}

// TestExactReadings: a fit whose residuals become zero ends after few evaluations.
func TestExactReadings(t *testing.T) {
	exact := make([]float64, 8)
	for i := range exact {
		exact[i] = 2*math.Exp(-0.8*float64(i)/2) + 1
	}
	for _, u := range []float64{1, 1e-3, 1e-6} {
		f := solve(t, decay(u, exact), []float64{1, 1, 0}, nil)
		if !f.Converged || f.Evaluations > 12 || !alike(f.X, []float64{2, 0.8, 1}, 1e-12) {
			t.Errorf("uncertainty %g: %v, converged %v after %d evaluations", u, f.X, f.Converged, f.Evaluations)
		}
	}
}

// TestDomain: an update out of the domain is shortened, and the last evaluation is at X.
func TestDomain(t *testing.T) {
	outside := errors.New("logarithm of nothing")
	var last float64
	m := bowl{1, 1, func(x, residuals []float64, jacobian *Matrix) error {
		last = x[0]
		if x[0] <= 0 {
			return outside
		}
		residuals[0] = math.Log(x[0]) + 3 // zero at e⁻³; the full update from 5 ends at −18
		if jacobian != nil {
			jacobian.Row(0)[0] = 1 / x[0]
		}
		return nil
	}}
	f := solve(t, m, []float64{5}, nil)
	if !f.Converged || !alike(f.X, []float64{math.Exp(-3)}, 1e-12) || last != f.X[0] {
		t.Errorf("%v, converged %v, last evaluated at %v", f.X, f.Converged, last)
	}
	if _, err := Solve(m, []float64{-1}, nil, Options{}); !errors.Is(err, outside) {
		t.Errorf("start outside: %v", err)
	}
}

// TestWrongDerivatives: a fit with derivatives of the wrong sign does not converge, and ends
// after few evaluations.
func TestWrongDerivatives(t *testing.T) {
	m := bowl{1, 1, func(x, residuals []float64, jacobian *Matrix) error {
		residuals[0] = x[0] + 2
		if jacobian != nil {
			jacobian.Row(0)[0] = -1
		}
		return nil
	}}
	f := solve(t, m, []float64{5}, nil)
	if f.Converged || f.X[0] != 5 || f.Evaluations > 60 {
		t.Errorf("%v, converged %v after %d", f.X, f.Converged, f.Evaluations)
	}
}

// TestRoughDerivatives: with derivatives that are wrong by a percent the fit takes more
// evaluations, ends within a small part of a standard deviation of the minimum, and converges.
func TestRoughDerivatives(t *testing.T) {
	plain := decay(0.03, decaying)
	rough := bowl{plain.n, 3, func(x, residuals []float64, jacobian *Matrix) error {
		err := plain.f(x, residuals, jacobian)
		for i := range residuals {
			if jacobian != nil {
				jacobian.Row(i)[i%3] *= 1.01
			}
		}
		return err
	}}
	want, got := solve(t, plain, []float64{1, 1, 0}, nil), solve(t, rough, []float64{1, 1, 0}, nil)
	if !got.Converged || got.Evaluations > 60 {
		t.Errorf("converged %v after %d", got.Converged, got.Evaluations)
	}
	for j := range want.X {
		if off := math.Abs(got.X[j]-want.X[j]) / math.Sqrt(want.Covariance.At(j, j)); off > 0.1 {
			t.Errorf("parameter %d is %.3f deviations off", j, off)
		}
	}
}

func TestRefused(t *testing.T) {
	m := linear([][]float64{{1, 2}}, []float64{1})
	nan := bowl{1, 1, func(x, residuals []float64, jacobian *Matrix) error {
		residuals[0] = 1
		jacobian.Row(0)[0] = math.NaN()
		return nil
	}}
	for _, c := range []struct {
		model Model
		start []float64
		prior *Prior
		want  string
	}{
		{m, []float64{1}, nil, "2 parameters, but a start of 1"},
		{m, []float64{1, math.NaN()}, nil, "parameter 1 starts at NaN"},
		{m, []float64{1, 2}, &Prior{[]float64{1}, []float64{1}}, "a prior of 1 means and 1 deviations"},
		{m, []float64{1, 2}, &Prior{[]float64{1, 1}, []float64{1, 0}}, "parameter 1 has a prior deviation of 0"},
		{m, []float64{1, 2}, &Prior{[]float64{1, 1}, []float64{math.NaN(), 1}}, "parameter 0 has a prior deviation of NaN"},
		{m, []float64{1, 2}, &Prior{[]float64{math.Inf(1), 1}, []float64{1, 1}}, "parameter 0 has a prior mean of +Inf"},
		{nan, []float64{1}, nil, "not finite"},
	} {
		if _, err := Solve(c.model, c.start, c.prior, Options{}); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v, want %q", err, c.want)
		}
	}
}

// TestNoMemoryInUpdates: the number of allocations does not depend on that of the updates.
func TestNoMemoryInUpdates(t *testing.T) {
	set := readNonlinear(t, "DanWood")
	var model Model = still{regression{set, nonlinear[3].curve}, make([]float64, 2)}
	memory := func(steps int) float64 {
		return testing.AllocsPerRun(10, func() {
			if _, err := Solve(model, set.starts[0], nil, Options{MaxIterations: steps}); err != nil {
				t.Fatal(err)
			}
		})
	}
	if one, all := memory(1), memory(200); all > one {
		t.Errorf("%v allocations for one update, %v for all", one, all)
	}
}

// still evaluates without allocating memory.
type still struct {
	regression
	scratch []float64
}

func (s still) Evaluate(b, residuals []float64, jacobian *Matrix) error {
	for i, y := range s.set.y {
		d := s.scratch
		if jacobian != nil {
			d = jacobian.Row(i)
		}
		residuals[i] = y - s.curve(b, s.set.x[i][0], d)
		for j := range d {
			d[j] = -d[j]
		}
	}
	return nil
}
