package model

import (
	"math"
	"math/rand/v2"
	"testing"

	"ohmkeep/internal/fit/model/modeltest"
	"ohmkeep/internal/numeric/leastsquares"
	"ohmkeep/internal/run"
)

// The gradient is the transposed Jacobian times the residuals, at random points: of readings of
// voltages and currents in several steps, along one conductor, with pixels below their knee, with
// readings excluded, conductors open, currents that are not listed and the loss of a robust fit.
func TestGradientIsThatOfTheJacobian(t *testing.T) {
	r, list := modeltest.Cornice()
	for _, at := range []string{"west", "north"} {
		x := list[2]
		x.From, x.To = at+".start+", at+".end+"
		list = append(list, x)
	}
	of, err := New(r, list)
	if err != nil {
		t.Fatal(err)
	}
	plain := of.Assume()
	robust := plain.Excluding(3)
	robust.Robust = true
	gradientAgrees(t, of, plain)
	gradientAgrees(t, of, robust)
	gradientAgrees(t, of, plain.HoldingOpen(of.Feeds[1][run.Plus]).WithoutFoilPrior(1))
	for _, how := range []Unlisted{FollowsLoad, FollowsChannels, Steady, FollowsAndSteady} {
		unlisted, err := of.WithUnlistedAt(1, how)
		if err != nil {
			t.Fatal(err)
		}
		gradientAgrees(t, unlisted, unlisted.Assume())
	}
}

func gradientAgrees(t *testing.T, m *Model, a Assumptions) {
	t.Helper()
	p := m.problem(a)
	rng := rand.New(rand.NewPCG(8, 3))
	n, k := p.Size()
	jacobian, residuals := leastsquares.NewMatrix(n, k), make([]float64, n)
	bounds := len(p.observations) + len(p.Splits) + len(p.FoilPriors)
	for trial := range 6 {
		x := m.Start(a)
		for j, u := range m.Unknowns {
			if _, held := a.Held[j]; !held {
				x[j] += 0.3 * math.Min(u.Deviation, 0.1) * rng.NormFloat64()
			}
			x[j] = u.inside(x[j])
		}
		if err := p.Evaluate(x, residuals, jacobian); err != nil {
			t.Fatal(err)
		}
		got, err := p.gradient(x)
		if err != nil {
			t.Fatal(err)
		}
		for j := range got {
			want, size := 0.0, 0.0
			for i, z := range residuals[:bounds] {
				want += jacobian.At(i, j) * z
				size += math.Abs(z) * (1e-9*math.Abs(jacobian.At(i, j)) + negligible/m.Unknowns[j].Deviation)
			}
			// The Jacobian leaves out what is negligible.
			if math.Abs(got[j]-want) > size+1e-9 {
				t.Errorf("trial %d: the derivative by unknown %d (%+v) is %g, that of the Jacobian %g", trial, j, m.Unknowns[j], got[j], want)
			}
		}
	}
}
