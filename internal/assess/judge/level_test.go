package judge

import (
	"math"
	"testing"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// The far feed's minus was never connected; its plus carries half of the current. Reel r1 behind
// it shows almost no voltage drop, which a reel without resistance explains about as well. No
// such reel is sold, so that every conductor is tested for being open.
func TestOpenFeedIsNotAReelWithoutCopper(t *testing.T) {
	r, readings := stored(t, "level")
	a, err := Make(r, readings)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range a.Elements {
		if e.Rail != run.Loop || e.Kind == run.KindSupply {
			continue
		}
		if open := e.Kind == run.KindFeed && e.Name == "far"; e.Open() != open || open && (e.Verdict != assessment.Fail || !math.IsInf(e.High, 1) || e.Low < e.Limit) {
			t.Errorf("%s %s: %g (%g to %g), %s", e.Kind, e.Name, e.Ohms, e.Low, e.High, e.Verdict)
		}
		if truth, known := map[string]float64{"r0": 0.06330, "r1": 0.06514, "trunk": 0.04074, "near": 0.09726, "r0-r1": 0.00252}[e.Name]; known && (truth < e.Low || truth > e.High) {
			t.Errorf("%s %s: %g is true, found %g to %g", e.Kind, e.Name, truth, e.Low, e.High)
		}
	}
	if a.Doubtful {
		t.Errorf("%+v, %s", a.Fit, a.Doubt)
	}
}
