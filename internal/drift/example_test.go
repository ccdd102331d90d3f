package drift

import (
	"flag"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"ohmkeep/internal/show/chart"
	"ohmkeep/internal/simulate"
)

var drawn = flag.Bool("draw", false, "draw the guides' pictures into testdata")

// The guide's picture: a joint that drifts. Simulated, invented.
func TestDrawTheGuidesPictures(t *testing.T) {
	if !*drawn {
		t.Skip("draws a file: run with -draw")
	}
	drawTradeoff(t)
	story := usual(240)
	story.Change = func(day float64, p *simulate.Plant, _ *rand.Rand) {
		if day > 60 {
			p.Joints[0].Plus += 0.030 * (day - 60) / 365
		}
	}
	for _, s := range judged(t, parsed(t, gallery), story, 2).Series {
		if s.Name == "west-north" {
			f, err := os.Create(filepath.Join("testdata", "joint.png"))
			if err != nil {
				t.Fatal(err)
			}
			defer f.Close()
			if err := chart.Years(s, chart.Wide).PNG(f); err != nil {
				t.Fatal(err)
			}
		}
	}
}
