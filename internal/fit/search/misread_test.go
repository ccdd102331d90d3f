package search

import (
	"math"
	"math/rand/v2"
	"testing"

	"ohmkeep/internal/fit/model"
)

// The linear model says what it costs to take a place's readings for those of the reel's other end: as
// much as a fit with the same noise.
func TestCostOfMisread(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 10))
	compared := 0
	for range 4 {
		r, list := shelf(rng)
		m, err := model.New(r, list)
		if err != nil {
			t.Fatal(err)
		}
		fit, err := model.Solve(m, m.Assume(), m.Start(m.Assume()))
		if err != nil {
			t.Fatal(err)
		}
		e, err := explain(fit, nil).withoutOutliers()
		if err != nil {
			t.Fatal(err)
		}
		at, err := m.At(e.Assumptions, e.X)
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range m.PossibleMistakes(e.Assumptions) {
			if x.Kind != model.PlaceMisread || e.excludes(x) {
				continue
			}
			cost, shift := e.costOfMisread(x, at)
			other, err := e.solve(e.Assumptions.Correcting(x), e.X)
			if err != nil {
				t.Fatal(err)
			}
			if want := other.SumSquares - e.SumSquares; math.Abs(cost-want) > 0.05*math.Abs(want) {
				t.Errorf("%+v costs %g, in the linear model %g", x, want, cost)
			}
			for j, d := range shift {
				if e.X[j]+d < 0 {
					continue // a conductor does not fall so far below zero
				}
				if deviation := math.Sqrt(e.Covariance.At(j, j)); math.Abs(e.X[j]+d-other.X[j]) > deviation {
					t.Errorf("%+v moves unknown %d by %g, in the linear model by %g", x, j, other.X[j]-e.X[j], d)
				}
			}
			compared++
		}
	}
	if compared == 0 {
		t.Error("no readings of two ends are alike")
	}
}
