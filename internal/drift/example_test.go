package drift

import (
	"bytes"
	"math/rand/v2"
	"testing"

	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/show/chart"
	"ohmkeep/internal/show/showtest"
	"ohmkeep/internal/simulate/plant"
)

// The pictures of the guides are what the program draws: a joint that drifts, and how
// caution trades time for false calls. Simulated, invented; -update draws them again.
func TestPicturesOfTheGuides(t *testing.T) {
	if testing.Short() {
		t.Skip("the same pictures without -short")
	}
	showtest.Picture(t, "testdata/tradeoff.png", drawTradeoff(t))
	story := usual(240)
	story.Change = func(day float64, p *plant.Plant, _ *rand.Rand) {
		if day > 60 {
			p.Joints[0].Plus += 0.030 * (day - 60) / 365
		}
	}
	for _, s := range judged(t, runtest.Parse(t, gallery), story, 2).Series {
		if s.Name != "west-north" {
			continue
		}
		var picture bytes.Buffer
		if err := chart.Years(s, chart.Wide).PNG(&picture); err != nil {
			t.Fatal(err)
		}
		showtest.Picture(t, "testdata/joint.png", picture.Bytes())
	}
}
