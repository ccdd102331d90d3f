package estimate

import (
	"testing"

	"ohmkeep/internal/run"
)

// After a reel has been examined without its foil prior, the prior is enabled again and the
// network is in the state of the fit.
func TestWithoutFoilPriorRestoresState(t *testing.T) {
	r, list := thorough(t, 0, 1.15)
	e, err := Make(r, list)
	if err != nil {
		t.Fatal(err)
	}
	idle := func() (list []int) {
		for i, a := range e.Problem.FoilPriors {
			if a.Disabled {
				list = append(list, i)
			}
		}
		return list
	}
	if len(e.Problem.FoilPriors) != len(r.Reels) || idle() != nil {
		t.Fatalf("%d reels are alike, idle are %v", len(e.Problem.FoilPriors), idle())
	}
	sum, _ := e.Problem.SumAt(e.X)
	for name, ask := range map[string]func(i int){
		"towards a limit":  func(i int) { e.BeliefTowards(i, 2*e.Elements[i].Ohms(e.Elements[i].Belief.Mean), VerdictSigmas) },
		"how far it goes":  func(i int) { e.IntervalEnd(i, 0.95, true) },
		"without some":     func(i int) { e.Without(i, []int{1, 2}) },
		"where it is from": func(i int) { e.Budget(i) },
	} {
		for i, x := range e.Elements {
			if x.Kind != run.KindReel || x.Rail != run.Loop {
				continue
			}
			amps := e.amps(x.Kind, x.Index, 0)
			ask(i)
			if left := idle(); left != nil {
				t.Errorf("%s, reel %d: idle are %v", name, x.Index, left)
			}
			if got := e.amps(x.Kind, x.Index, 0); !agrees(got, amps, 1e-9) {
				t.Errorf("%s, reel %d: %g A, before %g A", name, x.Index, got, amps)
			}
			if again, _ := e.Problem.SumAt(e.X); !agrees(again, sum, 1e-6) {
				t.Errorf("%s, reel %d: the sum of squares is %g, before %g", name, x.Index, again, sum)
			}
		}
	}
}
