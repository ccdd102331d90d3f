package model

import (
	"math"
	"math/rand/v2"
	"testing"

	"ohmkeep/internal/fit/model/modeltest"
	"ohmkeep/internal/numeric/leastsquares"
)

// Every derivative of every residual against central differences, at random points, a quarter of
// the conductors some milliohms below zero.
func TestJacobianAgreesWithCentralDifferences(t *testing.T) {
	r, list := modeltest.Cornice()
	of, err := New(r, list)
	if err != nil {
		t.Fatal(err)
	}
	agreesWithCentralDifferences(t, of)
	for _, how := range []Unlisted{FollowsLoad, FollowsChannels, Steady, FollowsAndSteady} {
		unlisted, err := of.WithUnlistedAt(1, how)
		if err != nil {
			t.Fatal(err)
		}
		agreesWithCentralDifferences(t, unlisted)
	}
}

func agreesWithCentralDifferences(t *testing.T, of *Model) {
	t.Helper()
	p := of.problem(of.Assume())
	rng := rand.New(rand.NewPCG(6, 1))
	n, m := p.Size()
	for range 6 {
		x := of.Start(of.Assume())
		for j, u := range p.Unknowns {
			spread := 0.3 * u.Deviation
			if u.What == JointRail || u.What == FeedRail {
				spread = 0.03
			}
			x[j] += spread * rng.NormFloat64()
			if u.What == JointRail || u.What == FeedRail {
				x[j] = math.Abs(x[j])
				if rng.IntN(4) == 0 { // by errors of the readings; see prior.Inside for what lies beyond
					x[j] = -0.001 - 0.003*rng.Float64()
				}
			}
		}
		jacobian := leastsquares.NewMatrix(n, m)
		residuals, up, down := make([]float64, n), make([]float64, n), make([]float64, n)
		if err := p.Evaluate(x, residuals, jacobian); err != nil {
			t.Fatal(err)
		}
		for j, u := range p.Unknowns {
			h := 2e-3 * math.Max(math.Abs(u.Deviation), 1e-3)
			if u.What == JointRail || u.What == FeedRail {
				h = 2e-5 // a split bends within milliohms
			}
			was := x[j]
			evaluate := func(at float64, into []float64) {
				x[j] = at
				if err := p.Evaluate(x, into, nil); err != nil {
					t.Fatal(err)
				}
			}
			evaluate(was+h, up)
			evaluate(was-h, down)
			x[j] = was
			for i := range n {
				got, want := jacobian.At(i, j), (up[i]-down[i])/(2*h)
				// A residual is a voltage over 0.4 mV, so 0.1 per unit is 0.04 mV.
				if math.Abs(got-want) > 1e-3*math.Abs(want)+0.1 {
					t.Errorf("d residual %d / d unknown %d (%d): %g, difference %g", i, j, u.What, got, want)
				}
			}
		}
	}
}
