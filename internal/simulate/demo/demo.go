// Package demo is the main job on an invented run with two faults: simulated
// instruments speak on pseudo-terminals, are opened like any serial device, read
// through every load step, and the readings are kept, fitted and judged against
// a truth that only the simulation knows.
package demo

import (
	"context"
	_ "embed"
	"fmt"
	"io"
	"math/rand/v2"
	"sync"
	"time"

	"ohmkeep/internal/instrument"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/instrument/survey"
	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runfile"
	"ohmkeep/internal/simulate"
	"ohmkeep/internal/simulate/devices"
)

// RunFile is the run file of the demonstration.
//
//go:embed demo.toml
var RunFile []byte

// seed makes each demonstration the same.
const seed = 20

// The faults: ohms of each conductor at 20 °C. The joint's is in its minus; the feed
// was meant to be 16 AWG and is 18 AWG.
var (
	badJoint = ladder.Rails{Plus: 0.002, Minus: 0.095}
	thinFeed = ladder.Rails{Plus: 0.157, Minus: 0.157}
)

const (
	badJointName = "west-north"
	thinFeedName = "far"
)

// Demo is one demonstration.
type Demo struct {
	Run   *run.Run
	Cable func() *devices.Pair // joins an instrument to the program; New sets bench.NewPair

	profiles []*profile.Profile
	plant    *simulate.Plant
	meter    *simulate.Meter
	sensors  *simulate.Meter

	mu    sync.Mutex // the instruments ask from goroutines of their own
	leads survey.Visit
}

// New sets the scene.
func New() (*Demo, error) {
	r, err := runfile.Parse("demo.toml", RunFile)
	if err != nil {
		return nil, err
	}
	d := &Demo{Run: r, Cable: devices.NewPair}
	for i := range r.Probes {
		p, err := profile.Load(r.Probes[i].Profile, "")
		if err != nil {
			return nil, err
		}
		d.profiles = append(d.profiles, p)
		r.Probes[i].Meter = len(r.Meters)
		r.Meters = append(r.Meters, p.Meter)
	}
	rng := rand.New(rand.NewPCG(seed, seed))
	d.plant = simulate.New(r, simulate.Usual, rng)
	for i, j := range r.Joints {
		if j.Name == badJointName {
			d.plant.Joints[i] = badJoint
		}
	}
	d.plant.Feeds[r.FeedIndex(thinFeedName)] = thinFeed
	d.sensors = simulate.NewMeter(d.profiles[0].Meter, rng)
	d.meter = simulate.NewMeter(d.profiles[1].Meter, rng)
	return d, d.plant.Open()
}

// Truth is the true loop resistance of a joint or feed, Ω at 20 °C.
func (d *Demo) Truth(joint bool, index int) float64 {
	rails := d.plant.Feeds
	if joint {
		rails = d.plant.Joints
	}
	return rails[index].Plus + rails[index].Minus
}

// ReelTruth is the true loop resistance of a reel, Ω/m at 20 °C.
func (d *Demo) ReelTruth(index int) float64 {
	return d.plant.Reels[index].Plus + d.plant.Reels[index].Minus
}

// Read runs the instruments and reads the run through all its steps. It passes each reading to took
// as soon as it is taken, and reports its progress in words.
func (d *Demo) Read(ctx context.Context, progress io.Writer, took func(reading.Reading) error) error {
	ctx, stop := context.WithCancel(ctx)
	var playing sync.WaitGroup
	defer playing.Wait()
	defer stop()
	if err := d.plant.Set(0); err != nil {
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
			fmt.Fprintln(progress, "There are no pseudo-terminals; the instruments speak inside the process.")
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
			return d.shown(d.meter, d.leads)
		})
	}
	return devices.NewBoard(cable, []string{"1", "2"}, func(channel string, q run.Quantity) float64 {
		d.mu.Lock()
		defer d.mu.Unlock()
		for _, c := range d.Run.Probes[probe].Channels {
			if c.ID == channel && c.Quantity == q {
				return d.shown(d.sensors, survey.Visit{Quantity: q, From: c.From, To: c.To})
			}
		}
		return 0
	}, 100*time.Millisecond)
}

// shown is the true value at a visit with an instrument's errors.
func (d *Demo) shown(by *simulate.Meter, v survey.Visit) float64 {
	value, _, _ := by.Distort(v.Quantity, v.From+" "+v.To, d.plant.True(v))
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
	return g.demo.plant.Set(g.demo.Run.StepIndex(step.Name))
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
