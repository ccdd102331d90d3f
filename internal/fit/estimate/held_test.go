package estimate

import (
	"math"
	"slices"
	"testing"

	"ohmkeep/internal/fit/model/modeltest"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// thorough is stock with readings at the far end and in the middle of each reel too, so that the
// readings of each reel and its foil prior determine it.
func thorough(t *testing.T, reel int, thinner float64) (stated *run.Run, list []reading.Reading) {
	t.Helper()
	stated, list = modeltest.Cornice()
	for _, s := range stated.Steps {
		for _, at := range []string{"west.150", "north.150", "east.150", "east.end"} {
			list = append(list, reading.Reading{Step: s.Name, From: at + "+", To: at + "-", Meter: "hand"})
		}
	}
	real := *stated
	real.Reels = slices.Clone(stated.Reels)
	real.Reels[reel].Strip.LoopOhms *= thinner
	modeltest.Fill(&real, list)
	return stated, list
}

// Fits with an element held are compared by the whole sum of squares, foil priors included: held
// at its estimate, an element causes no rise. Chi-squared leaves the foil priors out, which
// matters in a run with a reel of another stock.
func TestNoRiseAtEstimate(t *testing.T) {
	r, list := thorough(t, 0, 1.3)
	e, err := Make(r, list)
	if err != nil {
		t.Fatal(err)
	}
	if e.Sum-e.Fit.ChiSquared < 3 {
		t.Fatalf("the reels are alike to %g squares, so the test shows nothing", e.Sum-e.Fit.ChiSquared)
	}
	if again, err := e.Model.SumAt(e.Assumptions, e.X); err != nil || math.Abs(again-e.Sum) > 1e-6*e.Sum {
		t.Errorf("the sum of squares is %g, kept is %g (%v)", again, e.Sum, err)
	}
	held := 0
	for i := range e.Elements {
		x := &e.Elements[i]
		if x.Rail != run.Loop || x.Kind != run.KindJoint && x.Kind != run.KindFeed {
			continue
		}
		rise, _, ok := e.Profile(i).riseTo(x.Belief.Mean, e.X)
		if !ok || math.Abs(rise) > 0.01 {
			t.Errorf("%s %d held where it is: settled %v, a rise of %g", x.Kind, x.Index, ok, rise)
		}
		// Near the estimate the parabola holds, and no further fit is made.
		if _, straight := e.checkParabola(x, x.Belief.Mean+x.Belief.Deviation/4); !straight {
			t.Errorf("%s %d is not straight a quarter of a deviation off", x.Kind, x.Index)
		}
		held++
	}
	if held == 0 {
		t.Error("no element was held")
	}
}

func agrees(got, want, relative float64) bool { return math.Abs(got-want) <= relative*math.Abs(want) }
