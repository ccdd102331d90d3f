package model

import (
	"math"
	"testing"

	"ohmkeep/internal/fit/model/modeltest"
	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/numeric/leastsquares"
	"ohmkeep/internal/run"
)

// A resistance held has its value to within rounding, the sum is that of all residuals and priors
// there, and its derivatives are those of central differences.
func TestHeldResistance(t *testing.T) {
	for _, c := range []struct {
		open  [][2]int
		of    func(m *Model) Resistance
		value float64
	}{
		{nil, func(m *Model) Resistance { return Resistance{m.Joints[0], true, 1} }, prior.Transform(0.012)},
		{nil, func(m *Model) Resistance { return Resistance{[2]int{m.Joints[1][run.Minus], Absent}, true, 1} }, prior.Transform(0.004)},
		{nil, func(m *Model) Resistance { return Resistance{m.Reels[1], false, 0.04} }, 0.095},
		{[][2]int{{1, int(run.Minus)}}, func(m *Model) Resistance { return Resistance{m.Feeds[1], true, 1} }, prior.MaxTransformed},
	} {
		m, err := New(modeltest.OpenFeeds(c.open...))
		if err != nil {
			t.Fatal(err)
		}
		a, held := m.Assume(), c.of(m)
		fit, err := Solve(m, a, m.Start(a))
		if err != nil {
			t.Fatal(err)
		}
		sum, x, ok := m.SumHeldAt(a, held, c.value, 0.03, fit.X)
		if !ok || sum < fit.SumSquares {
			t.Fatalf("%+v: %v, a sum of %g below the least one, %g", held, ok, sum, fit.SumSquares)
		}
		if got, _ := held.At(x); math.Abs(got-c.value) > 1e-12 {
			t.Errorf("%+v is held at %g, not %g", held, got, c.value)
		}
		if again, err := m.SumAt(a, x); err != nil || math.Abs(again-sum) > 1e-6*sum {
			t.Errorf("%+v: the sum is %g there, returned is %g (%v)", held, again, sum, err)
		}
		a.held = held.heldAt(c.value, fit.X)
		p := m.problem(a)
		n, k := p.Size()
		jacobian := leastsquares.NewMatrix(n, k)
		residuals, up, down := make([]float64, n), make([]float64, n), make([]float64, n)
		if err := p.Evaluate(x, residuals, jacobian); err != nil {
			t.Fatal(err)
		}
		for _, j := range append(held.Rails[:1:1], m.Joints[1][run.Plus], m.Feeds[0][run.Plus]) {
			was := x[j]
			const h = 2e-5
			x[j] = was + h
			err := p.Evaluate(x, up, nil)
			x[j] = was - h
			if err != nil || p.Evaluate(x, down, nil) != nil {
				t.Fatal(err)
			}
			x[j] = was
			for i := range n {
				got, want := jacobian.At(i, j), (up[i]-down[i])/(2*h)
				if math.Abs(got-want) > 2e-3*math.Abs(want)+0.5 {
					t.Errorf("%+v: d residual %d / d unknown %d: %g, difference %g", held, i, j, got, want)
				}
			}
		}
	}
}
