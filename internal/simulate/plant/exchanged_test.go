package plant_test

import (
	"testing"

	"ohmkeep/internal/assess/judge"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/plant"
	"ohmkeep/internal/simulate/planttest"
)

// Sound runs in which the currents of two feeds of a block were exchanged. An open joint explained
// such readings, with a reel of 30 % of its stated resistance beside it, or a bad joint and a thin
// feed. Nothing fails, and the exchange is named or left as possible.
func TestExchangedCurrentsFailNothing(t *testing.T) {
	const block = 11 // the kind with two supplies and a block
	seeds := []uint64{101}
	if *rough > 0 {
		seeds = append(seeds, 1051)
	}
	for _, seed := range seeds {
		x, err := planttest.Commission(planttest.Kinds()[block], plant.Plain, planttest.Sound, planttest.ExchangedCurrents, seed)
		if err != nil || x == nil {
			t.Fatalf("seed %d: not drawn: %v", seed, err)
		}
		a, err := judge.Make(x.Run, x.Readings)
		if err != nil {
			t.Fatal(err)
		}
		named := 0
		for _, i := range x.Wrong {
			if a.Readings[i].Suspect {
				named++
			}
		}
		if named != len(x.Wrong) {
			t.Errorf("seed %d: %d of %d exchanged currents are named", seed, named, len(x.Wrong))
		}
		for _, e := range a.Elements {
			if truth := x.TrueOhms(string(e.Kind), e.Name); e.Verdict == assessment.Fail && e.Kind != run.KindSupply {
				t.Errorf("seed %d: %s %s has %.4f Ω and was failed", seed, e.Kind, e.Name, truth)
			}
		}
	}
}
