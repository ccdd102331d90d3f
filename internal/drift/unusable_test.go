package drift

import (
	"math"
	"testing"

	"ohmkeep/internal/drift/nightly"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run/runtest"
)

// If the nights on which a change was called hold no value when they are folded again, no change is
// reported: the series is neither stepped nor drifting but unproven, and no change has unknown values.
func TestChangeWithoutUsableNightIsNone(t *testing.T) {
	for _, stretches := range []string{
		`[{"cause":"begun"},{"at":200000,"cause":"step"}]`,
		`[{"cause":"begun"},{"at":200000,"cause":"ramp","sloped":true}]`,
		`[{"cause":"begun"},{"at":200000,"cause":"step"},{"at":300000,"cause":"ramp","sloped":true}]`,
	} {
		s, err := Decode([]byte(`{"version":2,"tracks":[{"kind":"joint","name":"a","points":[[1,86400,9,1,0,4,0,0,0,0,0,0,0,0,0]],"stretches":` + stretches + `}]}`))
		if err != nil {
			t.Fatal(err)
		}
		x := s.History(runtest.Parse(t, gallery)).Series[0]
		if x.Verdict != history.Unproven || len(x.Changes) != 0 {
			t.Errorf("%s: %s, %+v", stretches, x.Verdict, x.Changes)
		}
	}
}

// Nights stay in order for any days in a state.
func TestNightsStayInOrder(t *testing.T) {
	for _, held := range []int64{math.MinInt64 + 1, -1 << 40, 1 << 40} {
		k := &track{Stretch: []stretch{{Cause: begun}}, Points: []point{{Day: held}}}
		k.take(&nightly.Night{Day: 20000, At: 20000 * 86400})
		if len(k.Points) != 2 || k.Points[0].Day > k.Points[1].Day {
			t.Errorf("%d: %+v", held, k.Points)
		}
	}
}
