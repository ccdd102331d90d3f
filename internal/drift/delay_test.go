package drift

import (
	"flag"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/simulate/plant"
)

var faults = flag.Int("faults", 0, "simulated faulty runs of each kind; 0 = one of every third kind, and of those of two feeds")

// faultKind is an event on a day, with the verdict that is expected.
type faultKind struct {
	name, ring, element string
	at                  float64 // day
	size                float64 // Ω of a step, or gained until the last day
	within              float64 // days, until it has to be called
	shape               history.Shape
	verdict             history.Verdict
	change              func(day float64, p *plant.Plant, rng *rand.Rand)
}

// faultKinds are the faults that are promised to be found: a jump of 15 mΩ within three
// days, a ramp of 60 mΩ a year within ninety, bursts in 6 % of the samples within ten.
var faultKinds = []faultKind{
	{"jump of a joint", "", "west-north", 60.3, 0.015, 3, history.Jump, history.Jumped,
		func(day float64, p *plant.Plant, _ *rand.Rand) { p.Joints[0].Plus += 0.015 }},
	{"jump of a feed", "", "near", 60.3, 0.015, 3, history.Jump, history.Jumped,
		func(day float64, p *plant.Plant, _ *rand.Rand) { p.Feeds[0].Minus += 0.015 }},
	{"ramp of a joint", "", "west-north", 40, 0.060 * 110 / 365, 90, history.Ramp, history.Drifting,
		func(day float64, p *plant.Plant, _ *rand.Rand) { p.Joints[0].Minus += 0.060 * (day - 40) / 365 }},
	{"ramp of a feed", "", "near", 40, 0.060 * 110 / 365, 90, history.Ramp, history.Drifting,
		func(day float64, p *plant.Plant, _ *rand.Rand) { p.Feeds[0].Plus += 0.060 * (day - 40) / 365 }},
	{"bursts of a joint", "", "west-north", 60, 0, 10, history.Burst, history.Intermittent,
		func(_ float64, p *plant.Plant, rng *rand.Rand) {
			if rng.Float64() < 0.06 {
				p.Joints[0].Plus += 0.06 + 0.1*rng.Float64()
			}
		}},
	{"bursts of a feed", "", "near", 60, 0, 10, history.Burst, history.Intermittent,
		func(_ float64, p *plant.Plant, rng *rand.Rand) {
			if rng.Float64() < 0.06 {
				p.Feeds[0].Plus += 0.06 + 0.1*rng.Float64()
			}
		}},
	{"ramp of a feed of two", ring, "far", 40, 0.060 * 110 / 365, 90, history.Ramp, history.Drifting,
		func(day float64, p *plant.Plant, _ *rand.Rand) {
			p.Feeds[1].Plus += 0.030 * (day - 40) / 365
			p.Feeds[1].Minus += 0.030 * (day - 40) / 365
		}},
	// In one conductor only: the apparent changes of the other feed and the reels are not called,
	// and the size of the feed's own change is not known well.
	{"jump of one conductor of a feed of two", ring, "far", 60.3, 0, 3, history.Jump, history.Jumped,
		func(day float64, p *plant.Plant, _ *rand.Rand) { p.Feeds[1].Plus += 0.030 }},
	// Which of the path's joints it is, and so which current flows there, cannot be known.
	{"jump of a path", "", "west.start-east.end", 60.3, 0, 3, history.Jump, history.Jumped,
		func(day float64, p *plant.Plant, _ *rand.Rand) { p.Joints[0].Plus += 0.015 }},
}

func TestFaultsAreFound(t *testing.T) {
	for i, kind := range faultKinds {
		if *faults == 0 && i%3 > 0 && kind.ring == "" {
			continue
		}
		t.Run(kind.name, func(t *testing.T) {
			t.Parallel()
			var delays, dates, sizes []float64
			for seed := range uint64(max(1, *faults)) {
				story := usual(100)
				if kind.shape == history.Ramp {
					story = usual(150)
				}
				if kind.shape == history.Burst {
					story.Every = 30 * time.Minute
				}
				if kind.name == "jump of a path" {
					story.Sensed = []string{"A", "west.start", "east.end"}
				}
				story.Change = func(day float64, p *plant.Plant, rng *rand.Rand) {
					if day >= kind.at {
						kind.change(day, p, rng)
					}
				}
				h := judged(t, runtest.Parse(t, gallery+kind.ring), story, 50+seed)
				found := false
				for _, s := range h.Series {
					for _, c := range s.Changes {
						if s.Name != kind.element || c.Shape != kind.shape {
							t.Errorf("seed %d: %s of %s\n%s", seed, c.Shape, s.Name, describe(h))
							continue
						}
						found = true
						on := func(at history.Change) float64 { return at.Time.Sub(story.Begin).Hours()/24 - kind.at }
						delays = append(delays, c.Detected.Sub(story.Begin).Hours()/24-kind.at)
						dates = append(dates, on(c))
						if kind.size > 0 {
							sizes = append(sizes, (c.After-c.Before)/kind.size-1)
						}
					}
					if s.Name == kind.element && s.Verdict != kind.verdict {
						t.Errorf("seed %d: %s\n%s", seed, s.Verdict, describe(h))
					}
				}
				if !found {
					t.Errorf("seed %d: not found\n%s", seed, describe(h))
				}
			}
			if len(delays) == 0 {
				return
			}
			t.Logf("called within %.1f days, dated %+.1f to %+.1f days", slices.Max(delays), slices.Min(dates), slices.Max(dates))
			if slices.Max(delays) > kind.within {
				t.Errorf("called after %.1f days", delays)
			}
			if slices.Max(dates) > 3 || slices.Min(dates) < -3 {
				t.Errorf("dated wrong by %.1f days", dates)
			}
			for _, wrong := range sizes {
				if math.Abs(wrong) > 0.15 {
					t.Errorf("sizes are wrong by %.2f", sizes)
				}
			}
			if len(sizes) > 0 {
				t.Logf("sizes wrong by %+.3f to %+.3f", slices.Min(sizes), slices.Max(sizes))
			}
		})
	}
}
