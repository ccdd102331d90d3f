package estimate

import (
	"ohmkeep/internal/fit/model/modeltest"
	"ohmkeep/internal/run"
	"slices"
	"testing"
)

// Readings and currents of an estimate are those of its own fit, also after further trial fits.
func TestEstimateKeepsItsOwnFit(t *testing.T) {
	r, list := modeltest.OpenFeeds([2]int{1, int(run.Minus)})
	e, err := Make(r, list)
	if err != nil {
		t.Fatal(err)
	}
	if !slices.ContainsFunc(e.Elements, func(x Element) bool { return x.Open }) {
		t.Fatal("nothing is open, so that no other account was tried")
	}
	var amps []float64
	for _, x := range e.Elements {
		amps = append(amps, e.amps(x.Kind, x.Index, run.Plus))
	}
	n, _ := e.Problem.Size()
	if err := e.Problem.Evaluate(e.X, make([]float64, n), nil); err != nil {
		t.Fatal(err)
	}
	for i, o := range e.Problem.Observations {
		if got, want := e.Readings[o.Reading].Predicted, e.Problem.Predicted[i]; !agrees(got, want, 1e-9) {
			t.Errorf("reading %d is predicted at %g, by its account at %g", o.Reading, got, want)
		}
	}
	for i, x := range e.Elements {
		if got := e.amps(x.Kind, x.Index, run.Plus); !agrees(got, amps[i], 1e-9) {
			t.Errorf("%s %d carries %g A, by its account %g A", x.Kind, x.Index, amps[i], got)
		}
	}
}
