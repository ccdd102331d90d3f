package search

import (
	"math"
	"testing"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/fit/model/modeltest"
	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/run"
)

// A lamp that the run file does not list hangs at the end of a reel and draws the same current in every
// step. It is found there, as steady, and its current with it. Nothing is then bad or wrong.
func TestLampIsFound(t *testing.T) {
	const reel, amps = 1, 0.4
	r, list := modeltest.Cornice()
	at := run.Place{Kind: run.AtReel, Index: reel, Pixel: r.Reels[reel].Pixels}
	modeltest.FillAs(r, list, func(p *ladder.Parameters) {
		p.Drains = []ladder.Drain{{From: run.Point{Place: at}, To: run.Point{Place: at, Rail: run.Minus}, Amps: amps}}
	})
	m, err := model.New(r, list)
	if err != nil {
		t.Fatal(err)
	}
	found := solved(t, m, m.Assume()).unlistedCurrents()
	if len(found) == 0 {
		t.Fatal("nothing is found")
	}
	best, _ := bestOf(found)
	here, err := m.WithUnlistedAt(reel, model.Steady)
	if err != nil {
		t.Fatal(err)
	}
	behind, err := m.WithUnlistedAt(reel+1, model.Steady) // behind a joint of 3 mΩ
	if err != nil {
		t.Fatal(err)
	}
	if !best.Model.SameUnlisted(here) && !best.Model.SameUnlisted(behind) {
		t.Fatalf("found at reel %d, with a score of %.0f", best.Model.UnlistedAt(), best.score())
	}
	for k := range m.ReadSteps {
		if got := best.Model.UnlistedAmps(best.Assumptions, k, best.X); math.Abs(got-amps) > 0.05 {
			t.Errorf("step %d: draws %.3f A, not %.3f", k, got, amps)
		}
	}
	if !best.explained() || best.elementOdds() > 1 || best.Assumptions.ExcludedCount() > 0 {
		t.Errorf("p is %.2g, the odds of elements %.1f, %d readings are excluded", best.leastPValue(), best.elementOdds(), best.Assumptions.ExcludedCount())
	}
}
