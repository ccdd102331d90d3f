package estimate

import (
	"math"
	"ohmkeep/internal/fit/model/modeltest"
	"ohmkeep/internal/run"
	"slices"
	"testing"
)

// Readings and currents of an estimate are those of its own fit.
func TestEstimateKeepsItsOwnFit(t *testing.T) {
	r, list := modeltest.OpenFeeds([2]int{1, int(run.Minus)})
	e, err := Make(r, list)
	if err != nil {
		t.Fatal(err)
	}
	if !slices.ContainsFunc(e.Elements, func(x Element) bool { return x.Open }) {
		t.Fatal("nothing is open, so that no other account was tried")
	}
	point, err := e.Model.At(e.Assumptions, e.X)
	if err != nil {
		t.Fatal(err)
	}
	for _, o := range e.Observations {
		want, err := point.Predict(&o, make([]float64, len(e.X)))
		if got := e.Readings[o.Reading].Predicted; err != nil || !agrees(got, want, 1e-9) {
			t.Errorf("reading %d is predicted at %g, by its explanation at %g (%v)", o.Reading, got, want, err)
		}
	}
	for _, x := range e.Elements {
		want := 0.0
		for k := range e.Model.ReadSteps {
			want = math.Max(want, AmpsIn(point.Solvers[k], x.Kind, x.Index, run.Plus))
		}
		if got := e.amps(x.Kind, x.Index, run.Plus); !agrees(got, want, 1e-9) {
			t.Errorf("%s %d carries %g A, by its explanation %g A", x.Kind, x.Index, got, want)
		}
	}
}
