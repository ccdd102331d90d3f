package nextreading

import (
	"math"
	"slices"
	"testing"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/fit/model/modeltest"
	"ohmkeep/internal/run"
)

// Once reels are looked at without what is known of them from the others, what is foreseen
// of a reading is that of the run as it is then: the networks of all steps are solved again.
func TestSingleReelsMoveWhatIsForeseen(t *testing.T) {
	r, list := modeltest.Cornice()
	real := *r
	real.Reels = slices.Clone(r.Reels)
	real.Reels[0].Strip.LoopOhms *= 1.5
	modeltest.Fill(&real, list)
	e, o := outlook(t, r, list)
	foreseen := func() (volts []float64) {
		for k := range o.Model.Steps {
			for _, at := range o.places {
				one := model.Observation{Step: k, Feed: model.Absent, MeterRange: model.Absent, From: run.Point{Place: at}, To: run.Point{Place: at, Rail: run.Minus}}
				v, err := o.point.Predict(&one, make([]float64, len(o.X)))
				if err != nil {
					t.Fatal(err)
				}
				volts = append(volts, v)
			}
		}
		return volts
	}
	before := foreseen()
	for i, x := range e.Elements {
		if x.Kind == run.KindReel && x.Rail == run.Loop && x.Index == 0 {
			o.withoutFoilPrior([]Target{{Element: i}})
		}
	}
	got := foreseen()
	for k := range o.Model.Steps {
		if err := o.point.SolveStep(k); err != nil {
			t.Fatal(err)
		}
	}
	moved := 0.0
	for i, want := range foreseen() {
		if math.Abs(got[i]-want) > 1e-9 {
			t.Fatalf("reading %d is foreseen at %.6f V, the network has %.6f V", i, got[i], want)
		}
		moved = math.Max(moved, math.Abs(want-before[i]))
	}
	if moved < 1e-5 {
		t.Errorf("no reading moves by more than %g V, so the test shows nothing", moved)
	}
}
