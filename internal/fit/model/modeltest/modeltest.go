// Package modeltest has an invented run and readings of it for tests. Nothing here was measured.
package modeltest

import (
	"math"

	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/network/pixel"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// Cornice is an invented run of 900 pixels in three reels, fed at both ends, with
// four steps; and 32 readings of it by a hand meter, as a run without faults gives.
func Cornice() (*run.Run, []reading.Reading) {
	st := run.Strip{Volts: 5, PixelsPerMetre: 60, Idle: 0.0008, LoopOhms: 0.08}
	for i, name := range []string{"red", "green", "blue"} {
		st.Channels = append(st.Channels, run.Channel{Name: name, Amps: 0.012, Forward: 1.6 + 0.5*float64(i), Knee: 2.5 + 0.55*float64(i)})
	}
	r := &run.Run{Name: "invented", Ambient: 20, Supplies: []run.Supply{{Name: "A", Volts: 5.1, Ohms: 0.005}},
		Limits: run.Limits{DesignStep: -1},
		Meters: []run.Meter{{Name: "hand", Ranges: []run.Range{
			{Quantity: run.Voltage, UpTo: 6, Resolution: 0.001, Fraction: 0.005, Counts: 3},
			{Quantity: run.Current, UpTo: 60, Resolution: 0.01, Fraction: 0.015, Counts: 3}}}}}
	for i, name := range []string{"west", "north", "east"} {
		r.Reels = append(r.Reels, run.Reel{Name: name, Pixels: 300, Follows: i - 1, Strip: st})
	}
	r.Joints = []run.Joint{{Name: "west-north", From: 0, To: 1, Ohms: 0.003, Limit: 0.015}, {Name: "north-east", From: 1, To: 2, Ohms: 0.003, Limit: 0.015}}
	for i, to := range []run.Place{{Kind: run.AtReel, Pixel: 1}, {Kind: run.AtReel, Index: 2, Pixel: 300}} {
		r.Feeds = append(r.Feeds, run.Feed{Name: []string{"near", "far"}[i], From: run.Place{Kind: run.AtSupply}, To: to,
			Ohms: 0.1 + 0.05*float64(i), WireOhms: 0.1 + 0.05*float64(i), TempCo: ladder.CopperTempCo})
	}
	places := []string{"A", "west.start", "west.end", "north.start", "north.end", "east.start"}
	var list []reading.Reading
	for _, level := range []float64{0, 0.02, 0.05, 0.1} {
		step := run.Step{Name: "white " + string(rune('0'+len(r.Steps))), Levels: map[string]float64{"red": level, "green": level, "blue": level}}
		r.Steps = append(r.Steps, step)
		for _, at := range places {
			list = append(list, reading.Reading{Step: step.Name, From: at + "+", To: at + "-", Meter: "hand"})
		}
		for _, f := range r.Feeds {
			list = append(list, reading.Reading{Step: step.Name, Quantity: run.Current, From: f.Name, Meter: "hand"})
		}
	}
	Fill(r, list)
	return r, list
}

// Fill is FillAs with the run as stated.
func Fill(r *run.Run, list []reading.Reading) { FillAs(r, list, func(*ladder.Parameters) {}) }

// OpenFeeds returns the cornice's readings with some conductors of its feeds open: pairs of a
// feed and its rail.
func OpenFeeds(open ...[2]int) (*run.Run, []reading.Reading) {
	r, list := Cornice()
	FillAs(r, list, func(p *ladder.Parameters) {
		for _, c := range open {
			if feed := &p.Feeds[c[0]]; run.Rail(c[1]) == run.Plus {
				feed.Plus = openOhms
			} else {
				feed.Minus = openOhms
			}
		}
	})
	return r, list
}

// openOhms is a resistance, Ω, that no meter can distinguish from an open conductor.
const openOhms = 1e5

// FillAs sets the values of readings to those of the run as stated, with a change of its parameters,
// rounded to the meter's resolution. It numbers their rows from 2. It panics where the run cannot be
// solved or a reading's points or step are not in it: these are mistakes in the test.
func FillAs(r *run.Run, list []reading.Reading, change func(*ladder.Parameters)) {
	var places []run.Place
	point := func(name string) run.Point {
		at, err := r.Point(name)
		if err != nil {
			panic(err)
		}
		return at
	}
	for _, x := range list {
		if x.Quantity == run.Voltage {
			places = append(places, point(x.From).Place, point(x.To).Place)
		}
	}
	net, err := ladder.New(r, places...)
	if err != nil {
		panic(err)
	}
	stated := ladder.Stated(r)
	change(&stated)
	solvers := map[string]*ladder.Solver{}
	for _, step := range r.Steps {
		loads := make([]pixel.Load, len(r.Reels))
		for i, reel := range r.Reels {
			loads[i] = pixel.New(reel.Strip, step.Levels, pixel.AsStated)
		}
		solvers[step.Name] = net.NewSolver()
		if err := solvers[step.Name].Solve(&stated, loads); err != nil {
			panic(err)
		}
	}
	for i := range list {
		x := &list[i]
		x.Row = i + 2
		s := solvers[x.Step]
		if x.Quantity == run.Current {
			x.Value = s.FeedAmps(r.FeedIndex(x.From), run.Plus)
		} else {
			x.Value = s.Potential(point(x.From)) - s.Potential(point(x.To))
		}
		m := r.Meters[max(r.MeterIndex(x.Meter), 0)]
		counts := m.Ranges[m.Range(x.Quantity, x.Value)].Resolution
		x.Value = math.Round(x.Value/counts) * counts
	}
}
