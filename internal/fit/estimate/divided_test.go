package estimate

import (
	"math"
	"testing"

	"ohmkeep/internal/fit/model/modeltest"
	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/numeric/matrix"
	"ohmkeep/internal/run"
)

// The excess of a bad feed may all be in one conductor. Without readings the difference of a feed's
// conductors is as uncertain as the prior has it: 2·FeedSplitSpread of the loop for a sound feed, and
// for one of twice the resistance the spread of a bad contact besides.
func TestDividedAs(t *testing.T) {
	r, _ := modeltest.Cornice()
	e, err := Make(r, nil)
	if err != nil {
		t.Fatal(err)
	}
	feed := -1
	for i, x := range e.Elements {
		if x.Kind == run.KindFeed && x.Rail == run.Loop && feed < 0 {
			feed = i
		}
	}
	difference := func(v *Estimate) float64 { // of the rails, in the linear model, Ω
		row := make([]float64, len(v.X))
		rails := v.Elements[feed].split.Rails
		row[rails[0]], row[rails[1]] = prior.ToOhmsSlope(v.X[rails[0]]), -prior.ToOhmsSlope(v.X[rails[1]])
		return math.Sqrt(matrix.Quadratic(v.Covariance, row))
	}
	const stated = 0.1 // Ω
	sound, bad := difference(e), difference(e.DividedAs(map[int]float64{feed: 2 * stated}))
	if want := 2 * prior.FeedSplitSpread * stated; math.Abs(sound-want) > 0.15*want {
		t.Errorf("sound: ±%g Ω, want ±%g", sound, want)
	}
	if want := 2*prior.FeedSplitSpread*2*stated + 2*prior.JointSplitSpread*stated; math.Abs(bad-want) > 0.2*want {
		t.Errorf("bad: ±%g Ω, want ±%g", bad, want)
	}
	if again := difference(e.DividedAs(nil)); again != sound {
		t.Errorf("without bad ones ±%g Ω, want ±%g", again, sound)
	}
}
