package estimate

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"ohmkeep/internal/fit/model/modeltest"
	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// facade is an invented run of many reels end to end, with half as many feeds as joints. Every
// fifth feed has a supply of its own, and the plus is cut half-way between supplies. It has five
// steps.
func facade(t testing.TB, joints, pixels int) *run.Run {
	r, _ := modeltest.Cornice()
	st := r.Reels[0].Strip
	f := &run.Run{Name: "invented", Ambient: 20, Meters: r.Meters, Limits: r.Limits}
	for i := range joints + 1 {
		f.Reels = append(f.Reels, run.Reel{Name: fmt.Sprint("r", i), Pixels: pixels / (joints + 1), Follows: i - 1, Strip: st})
	}
	for i := range joints {
		f.Joints = append(f.Joints, run.Joint{Name: fmt.Sprintf("r%d-r%d", i, i+1), From: i, To: i + 1, Ohms: 0.003, PlusCut: i%10 == 9 && i+1 < joints})
	}
	for i := range joints / 2 {
		if i%5 == 0 {
			f.Supplies = append(f.Supplies, run.Supply{Name: fmt.Sprint("S", i/5), Volts: 5.1, Ohms: 0.005})
		}
		f.Feeds = append(f.Feeds, run.Feed{Name: fmt.Sprint("f", i), From: run.Place{Kind: run.AtSupply, Index: i / 5},
			To:   run.Place{Kind: run.AtReel, Index: 2 * i, Pixel: 1},
			Ohms: 0.05, WireOhms: 0.05, TempCo: ladder.CopperTempCo})
	}
	for i, level := range []float64{0, 0.02, 0.04, 0.06, 0.1} {
		f.Steps = append(f.Steps, run.Step{Name: fmt.Sprint("white ", i), Levels: map[string]float64{"red": level, "green": level, "blue": level}})
	}
	return f
}

// facadeReadings are about as many readings of it in every step: feed currents, and
// pairs at the supplies and at both sides of the joints, evenly along the run.
func facadeReadings(t testing.TB, r *run.Run, total int) []reading.Reading {
	perStep := total / len(r.Steps)
	var list []reading.Reading
	for _, step := range r.Steps {
		pair := func(place string) {
			list = append(list, reading.Reading{Step: step.Name, From: place + "+", To: place + "-", Meter: "hand"})
		}
		for _, f := range r.Feeds {
			list = append(list, reading.Reading{Step: step.Name, Quantity: run.Current, From: f.Name, Meter: "hand"})
		}
		for _, s := range r.Supplies {
			pair(s.Name)
		}
		left := perStep - len(r.Feeds) - len(r.Supplies)
		for i := range left { // starts and ends of reels
			k := i * 2 * len(r.Reels) / left
			pair(r.Reels[k/2].Name + []string{".start", ".end"}[k%2])
		}
	}
	modeltest.Fill(r, list)
	rng := rand.New(rand.NewPCG(5, 5))
	for i := range list {
		counts := 0.001
		if list[i].Quantity == run.Current {
			counts = 0.01
		}
		list[i].Value += counts * math.Round(0.3*rng.NormFloat64())
	}
	return list
}

var mostJoints = flag.Int("joints", 30, "the largest number of joints whose fit is timed; 60 with faults take minutes")

// Growth of the time with the size of a run, from a quarter to the largest planned for: 20,000
// pixels, 60 joints, 30 feeds, 500 readings. Half of the cases have a joint of 80 mΩ and a wrong
// reading, as a real commissioning may.
func BenchmarkFitGrowth(b *testing.B) {
	for joints := 15; joints <= *mostJoints; joints *= 2 {
		r := facade(b, joints, 20000*joints/60)
		readings := 500 * joints / 60
		for _, faults := range []bool{false, true} {
			stated := *r
			if faults {
				stated.Joints = append([]run.Joint(nil), r.Joints...)
				stated.Joints[joints/2+1].Ohms = 0.08
			}
			list := facadeReadings(b, &stated, readings)
			if faults {
				list[len(list)/2].Value -= 0.27
			}
			b.Run(fmt.Sprintf("pixels=%d/joints=%d/feeds=%d/readings=%d/faults=%v", 20000*joints/60, joints, len(r.Feeds), len(list), faults), func(b *testing.B) {
				for b.Loop() {
					e, err := Make(r, list)
					if err != nil || !e.Fit.Converged {
						b.Fatal(err, e.Fit)
					}
				}
			})
		}
	}
}
