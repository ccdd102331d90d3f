package judge

import (
	"math"
	"slices"
	"testing"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/plant"
	"ohmkeep/internal/simulate/planttest"
)

// Pair voltages of 24 V read to 0.1 V hardly contradict two feeds of several times their
// resistance, where one conductor of one feed is open. In these cases that one is found, and the
// other feed does not fail.
func TestOpenFeedIsFoundInCoarseReadings(t *testing.T) {
	kinds := planttest.Kinds()
	kind := kinds[slices.IndexFunc(kinds, func(k planttest.Kind) bool { return k.Name == "24 V regulated, fed at both ends" })]
	for _, seed := range []uint64{38, 51, 62} {
		if seed != 51 && !everyCase() {
			continue
		}
		x, err := planttest.Commission(kind, plant.Plain, planttest.OpenFeed, planttest.NoSlip, seed)
		if err != nil || x == nil {
			t.Fatalf("seed %d: %v, %v", seed, x, err)
		}
		a, err := Make(x.Run, x.Readings)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range a.Elements {
			if e.Kind != run.KindFeed || e.Rail != run.Loop {
				continue
			}
			open := math.IsInf(x.TrueOhms("feed", e.Name), 1)
			if open != e.Open() || open != (e.Verdict == assessment.Fail) {
				t.Errorf("seed %d: feed %s, open %v: %s with %.3g Ω", seed, e.Name, open, e.Verdict, e.Ohms)
			}
		}
	}
}
