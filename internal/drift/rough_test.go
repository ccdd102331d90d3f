package drift

import (
	"flag"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"ohmkeep/internal/result/history"

	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/simulate/months"
	"ohmkeep/internal/simulate/plant"
)

var roughMonths = flag.Int("roughmonths", 0, "simulated runs of each kind of trouble and each kind of fault; 0 = one of every eighth trouble, and three of all together")

// trouble is what the months of a real run hold and no model of them does (common
// practice, no source).
type trouble struct {
	name string
	make func(s *months.Scenario)
}

var troubles = []trouble{
	{"none", func(s *months.Scenario) {}},
	{"0.9 mV of noise", func(s *months.Scenario) { s.Noise = 0.0009 }},
	{"0.9 mV + 1.2 mV/A of noise", func(s *months.Scenario) { s.Noise, s.NoisePerAmp = 0.0009, 0.0012 }},
	{"gains follow the weather, 25 ppm/K", func(s *months.Scenario) { s.GainTempCo = 25e-6 }},
	{"thermometer in a warm cabinet", func(s *months.Scenario) { s.Cabinet = 12 }},
	{"half of the nights without a check", func(s *months.Scenario) { s.MissedChecks = 0.5 }},
	{"dimmed by a third", func(s *months.Scenario) { s.Dimmed = 0.45 * float64(s.Days) }},
	{"reels' currents differ by 3 %", func(s *months.Scenario) { s.Uneven = 0.03 }},
	{"all together", func(s *months.Scenario) {
		s.Noise, s.NoisePerAmp, s.GainTempCo, s.Cabinet, s.MissedChecks, s.Uneven = 0.0009, 0.0012, 25e-6, 12, 0.5, 0.03
		s.Dimmed = 0.45 * float64(s.Days)
	}},
}

// event is what happens in one simulated run, or nothing.
type event struct {
	name, element string
	days          int
	at            float64 // day
	size          float64 // Ω of a step, or gained until the last day; 0 = of bursts, not judged
	shape         history.Shape
	verdict       history.Verdict
	change        func(day float64, p *plant.Plant, rng *rand.Rand)
}

// events draws one of each kind.
func events(rng *rand.Rand) []event {
	joint := rng.IntN(2)
	name := []string{"west-north", "north-east"}[joint]
	at := 60 + 30*rng.Float64()
	step := 0.015 + 0.025*rng.Float64()
	perDay := (0.06 + 0.09*rng.Float64()) / 365
	burst := func(rng *rand.Rand) float64 {
		if rng.Float64() < 0.06 {
			return 0.06 + 0.1*rng.Float64()
		}
		return 0
	}
	return []event{
		{name: "nothing", days: 200, at: math.Inf(1)},
		{"joint steps", name, 140, at, step, history.Jump, history.Jumped,
			func(_ float64, p *plant.Plant, _ *rand.Rand) { p.Joints[joint].Plus += step }},
		{"feed steps", "near", 140, at, step, history.Jump, history.Jumped,
			func(_ float64, p *plant.Plant, _ *rand.Rand) { p.Feeds[0].Minus += step }},
		{"joint drifts", name, 240, at, perDay * (240 - at), history.Ramp, history.Drifting,
			func(day float64, p *plant.Plant, _ *rand.Rand) { p.Joints[joint].Minus += perDay * (day - at) }},
		{"feed drifts", "near", 240, at, perDay * (240 - at), history.Ramp, history.Drifting,
			func(day float64, p *plant.Plant, _ *rand.Rand) { p.Feeds[0].Plus += perDay * (day - at) }},
		{"joint fails now and then", name, 110, at, 0, history.Burst, history.Intermittent,
			func(_ float64, p *plant.Plant, rng *rand.Rand) { p.Joints[joint].Plus += burst(rng) }},
		{"feed fails now and then", "near", 110, at, 0, history.Burst, history.Intermittent,
			func(_ float64, p *plant.Plant, rng *rand.Rand) { p.Feeds[0].Plus += burst(rng) }},
	}
}

// Verdicts on months with larger disturbances than package drift assumes, a line for each disturbance
// and kind of fault.
func TestRoughMonths(t *testing.T) {
	t.Logf("%-36s %-26s %9s %9s %9s %9s %9s %9s %9s %9s %s", "", "", "right", "found", "±4 days", "or best", "in 95 %", "±20 %", "unproven", "rate 0", "ramps' dates, days: rms, bound")
	sums := make([]score, len(troubles))
	t.Run("troubles", func(t *testing.T) {
		for i, trouble := range troubles {
			t.Run(trouble.name, func(t *testing.T) {
				t.Parallel()
				for k, e := range events(rand.New(rand.NewPCG(0, 0))) {
					together := i == len(troubles)-1
					few := k == i%7 && i%8 == 0 && !testing.Short() || together && (k == 1 || k == 4 || k == 5) // one of each shape
					if *roughMonths == 0 && !few {
						continue
					}
					var c score
					for seed := range uint64(max(1, *roughMonths)) {
						c.add(troubled(t, i, k, seed))
					}
					t.Logf("%-36s %-26s %v", trouble.name, e.name, &c)
					sums[i].add(c)
				}
				t.Logf("%-36s %-26s %v", trouble.name, "all", &sums[i])
				if *roughMonths > 0 {
					sums[i].hold(t)
				}
			})
		}
	})
	if *roughMonths == 0 && !testing.Short() { // a run or two of each are no sample, and three are none at all
		var all score
		for _, c := range sums {
			all.add(c)
		}
		all.hold(t)
	}
}

// troubled returns the verdicts on one run with a disturbance and a kind of fault.
func troubled(t *testing.T, trouble, kind int, seed uint64) (c score) {
	rng := rand.New(rand.NewPCG(seed, uint64(100*trouble+kind)))
	e := events(rng)[kind]
	text := gallery
	if e.name == "nothing" && seed%2 == 1 {
		text += ring
	}
	story := usual(e.days)
	if seed%2 == 0 {
		story.CheckSamples = 6
	}
	if e.shape == history.Burst {
		story.Every = 30 * time.Minute
	}
	if e.change != nil {
		story.Change = func(day float64, p *plant.Plant, rng *rand.Rand) {
			if day >= e.at {
				e.change(day, p, rng)
			}
		}
	}
	troubles[trouble].make(&story)
	h := judged(t, runtest.Parse(t, text), story, rng.Uint64())
	if !c.count(e, story, h) {
		t.Logf("%s, seed %d: %s of %s from day %.1f, %.1f mΩ\n%s", troubles[trouble].name, seed, e.name, e.element, e.at, 1e3*e.size, describe(h))
	}
	return c
}
