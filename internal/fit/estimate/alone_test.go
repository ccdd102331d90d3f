package estimate

import (
	"slices"
	"testing"

	"ohmkeep/internal/run"
)

// Questions about a reel, which are answered without its foil prior, change nothing in the estimate.
func TestQuestionsChangeNothing(t *testing.T) {
	r, list := thorough(t, 0, 1.15)
	e, err := Make(r, list)
	if err != nil {
		t.Fatal(err)
	}
	if len(e.Model.FoilPriors) != len(r.Reels) || slices.Contains(e.Assumptions.NoFoilPrior, true) {
		t.Fatalf("%d reels are alike, left out are %v", len(e.Model.FoilPriors), e.Assumptions.NoFoilPrior)
	}
	sum, x := e.Sum, slices.Clone(e.X)
	for name, ask := range map[string]func(i int){
		"towards a limit":  func(i int) { e.ProfileBelief(i, 2*e.Elements[i].Ohms(e.Elements[i].Belief.Mean), VerdictSigmas) },
		"how far it goes":  func(i int) { e.IntervalEnd(i, 0.95, true) },
		"without some":     func(i int) { e.Without(i, []int{1, 2}) },
		"where it is from": func(i int) { e.Budget(i) },
	} {
		for i, element := range e.Elements {
			if element.Kind != run.KindReel || element.Rail != run.Loop {
				continue
			}
			amps := e.amps(element.Kind, element.Index, 0)
			ask(i)
			if slices.Contains(e.Assumptions.NoFoilPrior, true) {
				t.Errorf("%s, reel %d: left out are %v", name, element.Index, e.Assumptions.NoFoilPrior)
			}
			if got := e.amps(element.Kind, element.Index, 0); got != amps {
				t.Errorf("%s, reel %d: %g A, before %g A", name, element.Index, got, amps)
			}
			if again, _ := e.Model.SumAt(e.Assumptions, e.X); !slices.Equal(e.X, x) || e.Sum != sum || !agrees(again, sum, 1e-6) {
				t.Errorf("%s, reel %d: the sum of squares is %g, before %g", name, element.Index, again, sum)
			}
		}
	}
}
