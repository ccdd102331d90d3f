package search

import (
	"math"
	"math/rand/v2"
	"testing"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/fit/model/modeltest"
	"ohmkeep/internal/numeric/leastsquares"
)

// Of a display that only rounds the last digits are taken for surer than guessed, of one that
// wanders by more for less sure, each within its bound.
func TestDigitsAreWhatResidualsTell(t *testing.T) {
	for _, c := range []struct {
		name      string
		counts    float64 // by which the display wanders, beside rounding
		low, high float64 // of the deviations, over those guessed
	}{
		{"rounding alone", 0, 0.7, 0.93},
		{"as guessed", model.Repeat, 0.85, 1.15},
		{"more", 0.55, 1.05, 1.23},
	} {
		r, list := modeltest.Cornice()
		rng := rand.New(rand.NewPCG(2, 6))
		for i := range list {
			list[i].Value += c.counts * 0.001 * rng.NormFloat64()
			if list[i].To == "" { // a clamp counts in 10 mA
				list[i].Value += c.counts * 0.009 * rng.NormFloat64()
			}
		}
		p, err := model.New(r, list)
		if err != nil {
			t.Fatal(err)
		}
		guess := p.Observations[0].Deviation
		if _, err := Best(p); err != nil {
			t.Fatal(err)
		}
		if got := p.Observations[0].Deviation / guess; got < c.low || got > c.high || math.IsNaN(got) {
			t.Errorf("%s: %.3f times as guessed, want %g to %g", c.name, got, c.low, c.high)
		}
	}
}

// A fit that explains the readings badly, or found no answer, tells nothing of their digits.
func TestDigitsOfABadFit(t *testing.T) {
	r, list := modeltest.Cornice()
	p, err := model.New(r, list)
	if err != nil {
		t.Fatal(err)
	}
	h := &hypothesis{Problem: p}
	sound, err := h.Solve(h.Start())
	if err != nil {
		t.Fatal(err)
	}
	for name, change := range map[string]func(f *leastsquares.Fit){
		"badly explained": func(f *leastsquares.Fit) { f.SumSquares = 1000 },
		"no answer":       func(f *leastsquares.Fit) { f.Converged = false },
	} {
		fit, before := *sound, h.Observations[0].Deviation
		change(&fit)
		if h.digits(&fit) != &fit || h.Observations[0].Deviation != before {
			t.Errorf("%s: digits are taken from it", name)
		}
	}
	if before := h.Observations[0].Deviation; h.digits(sound) == sound || h.Observations[0].Deviation >= before {
		t.Error("a sound fit of rounded readings tells nothing")
	}
}
