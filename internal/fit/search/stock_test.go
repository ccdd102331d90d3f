package search

import (
	"slices"
	"testing"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/fit/model/modeltest"
	"ohmkeep/internal/reading"
)

// A reel of two thirds of the copper, read at its ends and in its middle, is explained better as one
// from another production batch. With reels alike there is no such explanation.
func TestReelOfOtherStock(t *testing.T) {
	for _, thinner := range []float64{1, 1.5} {
		r, list := modeltest.Cornice()
		for _, s := range r.Steps {
			for _, at := range []string{"west.150", "north.150", "east.150", "east.end"} {
				list = append(list, reading.Reading{Step: s.Name, From: at + "+", To: at + "-", Meter: "hand"})
			}
		}
		real := *r
		real.Reels = slices.Clone(r.Reels)
		real.Reels[1].Strip.LoopOhms *= thinner
		modeltest.Fill(&real, list)
		m, err := model.New(r, list)
		if err != nil {
			t.Fatal(err)
		}
		fit := solved(t, m, m.Assume())
		better := slices.ContainsFunc(fit.otherStock(), func(e explanation) bool {
			return e.Assumptions.OtherStock == 1 && e.score() < fit.score()
		})
		if better != (thinner > 1) {
			t.Errorf("%g times as thin: explained better is %v", thinner, better)
		}
	}
}
