package demo

import (
	"context"
	"fmt"
	"io"
	"sync"
	"time"

	"ohmkeep/internal/instrument"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/instrument/survey"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/devices"
)

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
	}, 50*time.Millisecond)
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
