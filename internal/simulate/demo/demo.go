// Package demo is the main job on an invented run with two faults: simulated
// instruments speak on pseudo-terminals, are opened like any serial device, read
// through every load step, and the readings are kept, fitted and judged against
// a truth that only the simulation knows.
package demo

import (
	"context"
	_ "embed"
	"fmt"
	"hash/fnv"
	"io"
	"math/rand/v2"
	"sync"
	"time"

	"ohmkeep/internal/instrument"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/instrument/survey"
	"ohmkeep/internal/reading"
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

// ordinary is what a run does on an ordinary evening besides what its file states: readings
// ripple, the copper warms, the supply sags, the controller's levels are some percent off.
// The figures are invented.
var ordinary = plant.Disturbance{Name: "an ordinary evening", Wander: 0.6, Ripple: 0.0002, Pixels: 0.01, Thinning: 0.01,
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

	mu    sync.Mutex // the instruments ask from goroutines of their own
	step  string
	leads survey.Visit
}

// New sets the scene.
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
	d.plant.Feeds[r.FeedIndex(thinFeedName)] = thinFeed
	return d, nil
}

// Truth is the true loop resistance of a joint or feed, Ω at 20 °C.
func (d *Demo) Truth(joint bool, index int) float64 {
	if joint {
		return d.plant.Joints[index].Loop()
	}
	return d.plant.Feeds[index].Loop()
}

// ReelTruth is the true loop resistance of a reel, Ω/m at 20 °C.
func (d *Demo) ReelTruth(index int) float64 { return d.plant.Reels[index].Loop() }

// Read runs the instruments and reads the run through all its steps. It passes each reading to took
// as soon as it is taken, and reports its progress in words.
func (d *Demo) Read(ctx context.Context, progress io.Writer, took func(reading.Reading) error) error {
	ctx, stop := context.WithCancel(ctx)
	var playing sync.WaitGroup
	defer playing.Wait()
	defer stop()
	if err := d.show(d.Run.Steps[0]); err != nil {
		return err
	}
	s := &survey.Survey{Run: d.Run, Steps: d.Run.Steps, Visits: survey.Thorough(d.Run)}
	for i, p := range d.Run.Probes {
		cable := d.Cable()
		play, err := d.instrument(i, cable)
		if err != nil {
			return err
		}
		playing.Go(func() { _ = play.Run(ctx) }) // it ends with the context
		if i == 0 && cable.Path == "" {
			fmt.Fprintln(progress, "There are no pseudo-terminals; the instruments run inside the process.")
		}
		device, err := instrument.Open(ctx, d.profiles[i], cable.Path, instrument.Options{Conn: cable.Host})
		if err != nil {
			return fmt.Errorf("probe %s: %w", p.Name, err)
		}
		defer device.Close()
		where := cable.Path
		if where == "" {
			where = "an in-process cable"
		}
		fmt.Fprintf(progress, "  %s: %s on %s\n", p.Name, firstOf(device.Identity(), d.profiles[i].Title), where)
		s.Probes = append(s.Probes, survey.Probe{Probe: p, Device: device})
	}
	return s.Take(ctx, &guide{demo: d, progress: progress, took: took})
}

func firstOf(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

// player is a simulated instrument.
type player interface{ Run(context.Context) error }

func (d *Demo) instrument(probe int, cable *devices.Pair) (player, error) {
	if d.profiles[probe].Kind == profile.SCPI {
		return devices.NewMultimeter(cable, func(q run.Quantity) float64 {
			d.mu.Lock()
			defer d.mu.Unlock()
			return d.shown(probe, d.leads)
		})
	}
	return devices.NewBoard(cable, []string{"1", "2"}, func(channel string, q run.Quantity) float64 {
		d.mu.Lock()
		defer d.mu.Unlock()
		for _, c := range d.Run.Probes[probe].Channels {
			if c.ID == channel && c.Quantity == q {
				return d.shown(probe, survey.Visit{Quantity: q, From: c.From, To: c.To})
			}
		}
		return 0
	}, 100*time.Millisecond)
}

// show makes the run show a step.
func (d *Demo) show(step run.Step) error {
	d.step = step.Name
	return d.plant.Set(d.Run.StepIndex(step.Name))
}

// shown is what a probe's instrument shows at a visit. Its ripple depends on the step and
// the place alone, so that how often an instrument measures changes no reading.
func (d *Demo) shown(probe int, v survey.Visit) float64 {
	place := v.From + " " + v.To
	at := fnv.New64a()
	fmt.Fprint(at, d.step, "\n", place)
	value, _ := d.meters[probe].Shown(v.Quantity, place, d.plant.True(v.Quantity, v.From, v.To), rand.New(rand.NewPCG(seed, at.Sum64())))
	return value
}

// guide sets the simulated steps and moves the simulated leads.
type guide struct {
	demo     *Demo
	progress io.Writer
	took     func(reading.Reading) error
	count    int
}

func (g *guide) Step(_ context.Context, step run.Step) error {
	g.demo.mu.Lock()
	defer g.demo.mu.Unlock()
	fmt.Fprintf(g.progress, "  step %q\n", step.Name)
	return g.demo.show(step)
}

func (g *guide) Reach(_ context.Context, v survey.Visit) error {
	g.demo.mu.Lock()
	defer g.demo.mu.Unlock()
	g.demo.leads = v
	return nil
}

func (g *guide) Took(_ context.Context, x reading.Reading) error {
	g.count++
	fmt.Fprintf(g.progress, "  %3d  %-14s%-14s%9.5g %s\n", g.count, x.From, x.To, x.Value, [...]string{"V", "A", "°C"}[x.Quantity])
	return g.took(x)
}

func (g *guide) Missed(v survey.Visit, why string) {
	fmt.Fprintf(g.progress, "       %v: %s\n", v, why)
}
