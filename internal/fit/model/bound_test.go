package model

import (
	"math"
	"ohmkeep/internal/fit/model/modeltest"
	"ohmkeep/internal/numeric/leastsquares"
	"testing"
)

// The penalty is zero above zero and quadratic below, with the matching slope.
func TestBounds(t *testing.T) {
	r, list := modeltest.Cornice()
	p, err := New(r, list)
	if err != nil {
		t.Fatal(err)
	}
	x := p.Start()
	open, _ := p.SumAt(x)
	p.bounded = p.BoundedConductors()
	if len(p.bounded) != 2*(len(r.Joints)+len(r.Feeds)) {
		t.Fatalf("%d walls", len(p.bounded))
	}
	if walled, _ := p.SumAt(x); math.Abs(walled-open) > 1e-9*open {
		t.Errorf("walls cost %g where no conductor is behind one", walled-open)
	}
	x[p.bounded[1]] = -0.003
	if fit, err := p.SolveBounded(p.ClampToZero(x), p.Options(50)); err != nil || p.bounded != nil || fit.X[0] < -0.001 {
		t.Errorf("between walls %v, %v; left standing %v", fit, err, p.bounded)
	}
	p.bounded = p.BoundedConductors()
	n, m := p.Size()
	residuals, jacobian := make([]float64, n), leastsquares.NewMatrix(n, m)
	if err := p.Evaluate(x, residuals, jacobian); err != nil {
		t.Fatal(err)
	}
	first := len(p.Observations) + len(p.Splits) + len(p.FoilPriors)
	for i := range p.bounded {
		want, slope := 0.0, 0.0
		if i == 1 {
			want, slope = -3, 1000
		}
		if got := residuals[first+i]; math.Abs(got-want) > 1e-9 {
			t.Errorf("wall %d: %g, not %g", i, got, want)
		}
		if got := jacobian.At(first+i, p.bounded[i]); math.Abs(got-slope) > 1e-6 {
			t.Errorf("wall %d: slope %g, not %g", i, got, slope)
		}
	}
}
