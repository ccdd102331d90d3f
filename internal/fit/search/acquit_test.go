package search

import (
	"math"
	"math/rand/v2"
	"testing"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/fit/model/modeltest"
)

// One reading is more and more in error. It is called wrong only once it is so far off that its fit with
// it costs minAccusation more, and then with no other.
func TestDoubtfulReadingIsNotCalledWrong(t *testing.T) {
	const at = 19 // north.start+ in the third step
	rng := rand.New(rand.NewPCG(3, 0))
	_, noise := modeltest.Cornice()
	for i := range noise {
		noise[i].Value = 0.0006 * rng.NormFloat64()
	}
	right, wrong := 0.0, math.Inf(1) // the most error that is taken for noise, and the least that is not, V
	between := 0.0015
	if *screened > 2 {
		between = 0.0005
	}
	for off := 0.002; off < 0.008; off += between {
		r, list := modeltest.Cornice()
		for i := range list {
			list[i].Value += noise[i].Value
		}
		list[at].Value += off
		m, err := model.New(r, list)
		if err != nil {
			t.Fatal(err)
		}
		best, err := Best(m)
		if err != nil {
			t.Fatal(err)
		}
		if best.Assumptions.ExcludedCount() == 0 {
			right = math.Max(right, off)
			continue
		}
		wrong = math.Min(wrong, off)
		e := explain(best.Fit, best.Open)
		all, err := e.solve(e.Assumptions.ExcludingOnly(nil), e.X)
		if err == nil {
			all, err = all.solveWithNoise(0)
		}
		if err != nil {
			t.Fatal(err)
		}
		if !best.Assumptions.Excluded[at] || best.Assumptions.ExcludedCount() != 1 || all.score()-e.score() < minAccusation {
			t.Errorf("%.1f mV off: excluded are %v, with all readings it costs %.1f more", 1000*off, numbers(best.Assumptions.Excluded), all.score()-e.score())
		}
	}
	if right == 0 || math.IsInf(wrong, 1) || right > wrong {
		t.Errorf("up to %g V are right, from %g V wrong", right, wrong)
	}
}
