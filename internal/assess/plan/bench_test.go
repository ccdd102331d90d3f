package plan

import (
	"fmt"
	"strings"
	"testing"

	"ohmkeep/internal/assess/nextreading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runtest"
)

// hall is an invented run of so many reels of 5 m, fed at every other one, with four steps'
// worth of choice and a hand meter of four ranges.
func hall(t testing.TB, reels int) *run.Run {
	t.Helper()
	var b strings.Builder
	b.WriteString(runtest.Head("Hall") + runtest.Supply("A", 5.1, 400, 2))
	feed := func(i int, to string) { b.WriteString(runtest.FeedFrom(fmt.Sprintf("f%d", i), "A", to, 4, "14 AWG")) }
	for i := range reels {
		b.WriteString(runtest.Reels(5, fmt.Sprintf("r%d", i)))
	}
	for i := 0; i < reels; i += 2 {
		feed(i, fmt.Sprintf("r%d.start", i))
	}
	feed(reels, fmt.Sprintf("r%d.end", reels-1))
	for _, level := range []float64{0, 0.01, 0.03} {
		b.WriteString(runtest.White(fmt.Sprintf("white %g", level), level))
	}
	b.WriteString(runtest.Meter("hand", runtest.Range("voltage", 0.06, 0.00001, 0.5, 3), runtest.Range("voltage", 0.6, 0.0001, 0.5, 3),
		runtest.Range("voltage", 6, 0.001, 0.5, 3), runtest.Range("current", 10, 0.01, 1.5, 5)))
	b.WriteString("[limits]\ndesign_step = \"white 0.03\"\n")
	return runtest.Parse(t, b.String())
}

// How the time of a plan grows with the run, up to 100 reels, 30 in a short run; the rate is in reels a second.
func BenchmarkGrowth(b *testing.B) {
	for _, reels := range []int{3, 10, 30, 100} {
		if reels > 30 && testing.Short() {
			break
		}
		b.Run(fmt.Sprintf("%d reels", reels), func(b *testing.B) {
			r := hall(b, reels)
			var p *Plan
			for b.Loop() {
				var err error
				if p, err = Make(r, nextreading.CarriedMeters(r)); err != nil {
					b.Fatal(err)
				}
			}
			settled := 0
			for _, e := range p.Elements {
				if e.Settled {
					settled++
				}
			}
			b.ReportMetric(float64(p.Readings), "readings")
			b.ReportMetric(float64(settled), "settled")
			b.ReportMetric(float64(len(p.Elements)), "elements")
		})
	}
}
