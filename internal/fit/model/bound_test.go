package model

import (
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"

	"ohmkeep/internal/fit/model/modeltest"
	"ohmkeep/internal/numeric/leastsquares"
)

// The prior of a conductor below zero is zero above and quadratic below, with the matching slope. A
// fit stays near zero, and its covariance is that of the same fit without the prior.
func TestBounds(t *testing.T) {
	r, list := modeltest.Cornice()
	p, err := New(r, list)
	if err != nil {
		t.Fatal(err)
	}
	x := p.Start(p.Assume())
	if len(p.bounded) != 2*(len(r.Joints)+len(r.Feeds))+len(r.Supplies) {
		t.Fatalf("%d bounds", len(p.bounded))
	}
	if sum := p.BoundSum(x); sum != 0 {
		t.Errorf("bounds cost %g where no conductor is below zero", sum)
	}
	x[p.bounded[1]] = -0.003
	if sum := p.BoundSum(x); math.Abs(sum-9) > 1e-9 {
		t.Errorf("−3 mΩ cost %g, not 9", sum)
	}
	of := p.problem(p.Assume())
	n, m := of.Size()
	residuals, jacobian := make([]float64, n), leastsquares.NewMatrix(n, m)
	if err := of.Evaluate(x, residuals, jacobian); err != nil {
		t.Fatal(err)
	}
	first := len(p.Observations) + len(p.Splits) + len(p.FoilPriors)
	for i := range p.bounded {
		want, slope := 0.0, 0.0
		if i == 1 {
			want, slope = -3, 1000
		}
		if got := residuals[first+i]; math.Abs(got-want) > 1e-9 {
			t.Errorf("bound %d: %g, not %g", i, got, want)
		}
		if got := jacobian.At(first+i, p.bounded[i]); math.Abs(got-slope) > 1e-6 {
			t.Errorf("bound %d: slope %g, not %g", i, got, slope)
		}
	}
}

// A conductor that the readings would put below zero stays near zero, and its standard deviation is
// that of a fit without bounds.
func TestBoundedFit(t *testing.T) {
	r, list := modeltest.Cornice()
	for i := range list {
		if list[i].From == "north.start+" && list[i].Value > 0 {
			list[i].Value += 0.008 // more after the joint than before it
		}
	}
	p, err := New(r, list)
	if err != nil {
		t.Fatal(err)
	}
	fit, err := Solve(p, p.Assume(), p.Start(p.Assume()))
	if err != nil || !fit.Converged {
		t.Fatal(fit, err)
	}
	bounded, without := p.bounded, *p
	without.bounded = nil
	free := covarianceAt(t, &without, fit.X)
	below, least := 0, 0.0
	for _, j := range bounded {
		least = math.Min(least, fit.X[j])
		if fit.X[j] < 0 {
			below++
		}
		if got, want := fit.Covariance.At(j, j), free.At(j, j); math.Abs(got-want) > 1e-6*want {
			t.Errorf("unknown %d is known to %g, without bounds to %g", j, math.Sqrt(got), math.Sqrt(want))
		}
	}
	if below == 0 || least < -0.005 {
		t.Errorf("%d conductors below zero, the lowest at %g", below, least)
	}
}

// covarianceAt is the inverse of the normal matrix of a model and its prior at x.
func covarianceAt(t *testing.T, m *Model, x []float64) *mat.SymDense {
	t.Helper()
	p := m.problem(m.Assume())
	n, k := p.Size()
	jacobian := leastsquares.NewMatrix(n, k)
	if err := p.Evaluate(x, make([]float64, n), jacobian); err != nil {
		t.Fatal(err)
	}
	normal := mat.NewSymDense(k, nil)
	for i := range n {
		normal.SymRankOne(normal, 1, mat.NewVecDense(k, slices.Clone(jacobian.Row(i))))
	}
	for j, d := range m.Prior(m.Assume()).Deviation {
		normal.SetSym(j, j, normal.At(j, j)+1/(d*d))
	}
	var factor mat.Cholesky
	if !factor.Factorize(normal) {
		t.Fatal("the normal matrix is not positive definite")
	}
	var inverse mat.SymDense
	if err := factor.InverseTo(&inverse); err != nil {
		t.Fatal(err)
	}
	return &inverse
}
