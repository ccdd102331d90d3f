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
	b.WriteString(`schema = 1
name = "Hall"
[strip]
volts = 5.0
pixels_per_metre = 60
channel_milliamps = 12.0
idle_milliamps = 0.8
loop_milliohms_per_metre = 80.0
[[supply]]
name = "A"
volts = 5.1
amps = 400
milliohms = 2
`)
	feed := func(i int, to string) {
		fmt.Fprintf(&b, "[[feed]]\nname = \"f%d\"\nfrom = \"A\"\nto = \"%s\"\nmetres = 4\nconductor = \"14 AWG\"\n", i, to)
	}
	for i := range reels {
		fmt.Fprintf(&b, "[[reel]]\nname = \"r%d\"\nmetres = 5.0\n", i)
	}
	for i := 0; i < reels; i += 2 {
		feed(i, fmt.Sprintf("r%d.start", i))
	}
	feed(reels, fmt.Sprintf("r%d.end", reels-1))
	for _, level := range []float64{0, 0.01, 0.03} {
		fmt.Fprintf(&b, "[[step]]\nname = \"white %g\"\nred = %[1]g\ngreen = %[1]g\nblue = %[1]g\n", level)
	}
	b.WriteString("[[meter]]\nname = \"hand\"\n")
	for _, g := range [][5]any{{"voltage", 0.06, 0.00001, 0.5, 3}, {"voltage", 0.6, 0.0001, 0.5, 3}, {"voltage", 6.0, 0.001, 0.5, 3}, {"current", 10.0, 0.01, 1.5, 5}} {
		fmt.Fprintf(&b, "[[meter.range]]\nquantity = \"%v\"\nup_to = %v\nresolution = %v\npercent = %v\ncounts = %v\n", g[0], g[1], g[2], g[3], g[4])
	}
	b.WriteString("[limits]\ndesign_step = \"white 0.03\"\n")
	return runtest.Parse(t, b.String())
}

// How the time of a plan grows with the run; the rate is in reels a second.
func BenchmarkGrowth(b *testing.B) {
	for _, reels := range []int{3, 10, 30, 100} {
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
