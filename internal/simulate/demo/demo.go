// Package demo commissions an invented run with two faults. The run is one of package
// plant, which shares nothing with the fit. Simulated instruments on pseudo-terminals are
// opened like any serial device and read through every load step; only the simulation knows
// the true resistances.
package demo

import (
	_ "embed"
	"fmt"
	"hash/fnv"
	"math/rand/v2"
	"sync"

	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/instrument/survey"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runfile"
	"ohmkeep/internal/simulate/devices"
	"ohmkeep/internal/simulate/plant"
)

// RunFile is the run file of the demonstration.
//
//go:embed demo.toml
var RunFile []byte

// seed makes each demonstration the same.
const seed = 20

// ordinary is the disturbance of an ordinary evening: readings have ripple, the copper warms, the
// supply voltage falls, the controller's levels are some percent off.
// The figures are invented.
var ordinary = plant.Disturbance{Name: "an ordinary evening", DigitNoise: 0.6, Ripple: 0.0002, Pixels: 0.01, Thinning: 0.01,
	Warming: 1, Sag: 0.003, Levels: 0.03, Foils: 0.05}

// The faults: ohms of each conductor at 20 °C. The joint's is in its minus; the feed
// was meant to be 16 AWG and is 18 AWG.
var (
	badJoint = plant.Rails{Plus: 0.002, Minus: 0.095}
	thinFeed = plant.Rails{Plus: 0.157, Minus: 0.157}
)

const (
	badJointName = "west-north"
	thinFeedName = "far"
)

// Demo is one demonstration.
type Demo struct {
	Run   *run.Run
	Cable func() *devices.Pair // joins an instrument to the program; New sets devices.NewPair

	profiles []*profile.Profile
	plant    *plant.Plant
	meters   []*plant.Meter // by probe

	mu    sync.Mutex // the instruments call from goroutines of their own
	step  string
	leads survey.Visit
}

// New draws the run and its instruments.
func New() (*Demo, error) {
	r, err := runfile.Parse("demo.toml", RunFile)
	if err != nil {
		return nil, err
	}
	d := &Demo{Run: r, Cable: devices.NewPair}
	rng := rand.New(rand.NewPCG(seed, seed))
	for i := range r.Probes {
		p, err := profile.Load(r.Probes[i].Profile, "")
		if err != nil {
			return nil, err
		}
		d.profiles = append(d.profiles, p)
		r.Probes[i].Meter = len(r.Meters)
		r.Meters = append(r.Meters, p.Meter)
		d.meters = append(d.meters, plant.NewMeter(p.Meter, ordinary, rng))
	}
	d.plant = plant.New(r, ordinary, rng)
	for i, j := range r.Joints {
		if j.Name == badJointName {
			d.plant.Joints[i] = badJoint
		}
	}
	d.plant.ReplaceFeed(r.FeedIndex(thinFeedName), thinFeed)
	return d, nil
}

// Truth returns the true loop resistance of a joint or feed, Ω at 20 °C.
func (d *Demo) Truth(joint bool, index int) float64 {
	if joint {
		return d.plant.Joints[index].Loop()
	}
	return d.plant.Feeds[index].Loop()
}

// ReelTruth returns the true loop resistance of a reel, Ω/m at 20 °C.
func (d *Demo) ReelTruth(index int) float64 { return d.plant.Reels[index].Loop() }

// show makes the run show a step.
func (d *Demo) show(step run.Step) error {
	d.step = step.Name
	return d.plant.Set(d.Run.StepIndex(step.Name))
}

// shown returns the indication of a probe's instrument at a visit, SI. Its ripple depends on the step
// and the place alone, so that the number of measurements does not change a reading.
func (d *Demo) shown(probe int, v survey.Visit) float64 {
	place := v.From + " " + v.To
	at := fnv.New64a()
	fmt.Fprint(at, d.step, "\n", place)
	value, _ := d.meters[probe].Shown(v.Quantity, place, d.plant.True(v.Quantity, v.From, v.To), rand.New(rand.NewPCG(seed, at.Sum64())))
	return value
}
