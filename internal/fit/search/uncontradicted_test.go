package search

import (
	"slices"
	"testing"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/fit/model/modeltest"
	"ohmkeep/internal/reading"
)

// The supply is read half a volt too high in the only step, so that both feeds look bad and nothing
// contradicts it. One explanation is that this reading is wrong. With the right reading there is none.
func TestUncontradictedReading(t *testing.T) {
	for _, off := range []float64{0, 0.5} {
		r, list := modeltest.Cornice()
		list = slices.DeleteFunc(list, func(x reading.Reading) bool { return x.Step != r.Steps[3].Name })
		list[0].Value += off
		m, err := model.New(r, list)
		if err != nil {
			t.Fatal(err)
		}
		fit := solved(t, m, m.Assume())
		if off > 0 && fit.elementOdds() < 2*badElement {
			t.Fatalf("odds of %g: the feeds are not bad", fit.elementOdds())
		}
		var excluded [][]int
		for _, e := range fit.uncontradicted() {
			excluded = append(excluded, numbers(e.Assumptions.Excluded))
			if e.score() > fit.score()+maxAlternativeCost {
				t.Errorf("%v: a score of %g beside %g", excluded, e.score(), fit.score())
			}
		}
		if one := len(excluded) == 1 && slices.Equal(excluded[0], []int{0}); one != (off > 0) {
			t.Errorf("%g V off: %v", off, excluded)
		}
	}
}
