package estimate

import (
	"math"
	"testing"

	"ohmkeep/internal/assessment"
	"ohmkeep/internal/run"
)

// Once reels are looked at without what is known of them from the others, what is foreseen
// of a reading is that of the run as it is then: the networks of all steps are solved again.
func TestSingleReelsMoveWhatIsForeseen(t *testing.T) {
	r, list := stock(t, 0, 1.5)
	e, err := Make(r, list)
	if err != nil {
		t.Fatal(err)
	}
	o, err := e.Outlook(Carried(r))
	if err != nil {
		t.Fatal(err)
	}
	foreseen := func() (volts []float64) {
		for k := range o.problem.steps {
			for _, at := range o.places {
				one := observation{step: k, feed: absent, scale: absent, from: run.Point{Place: at}, to: run.Point{Place: at, Rail: run.Minus}}
				v, err := o.problem.predict(&one, o.x, o.problem.row)
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
		if x.Kind == assessment.Reel && x.Rail == assessment.Loop && x.Index == 0 {
			o.single([]Target{{Element: i}})
		}
	}
	got := foreseen()
	for k := range o.problem.steps {
		if err := o.problem.settle(k, o.x); err != nil {
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
