package prediction

import (
	"fmt"
	"math"

	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/network/pixel"
	"ohmkeep/internal/run"
)

// Make solves one step of a run as its file states it. It returns an error if no supply reaches a
// part of the run, or if the network has no solution.
func Make(r *run.Run, step run.Step) (*Prediction, error) {
	net, err := ladder.New(r)
	if err != nil {
		return nil, err
	}
	solver := net.NewSolver()
	par := ladder.Stated(r)
	loads := ladder.Loads(r, step, pixel.AsStated)
	if err := solver.Solve(&par, loads); err != nil {
		return nil, fmt.Errorf("step %q: %w", step.Name, ladder.Explain(r, err))
	}
	p := &Prediction{Run: r, Step: step.Name}
	pair := func(at run.Place) float64 {
		return solver.Potential(run.Point{Place: at}) - solver.Potential(run.Point{Place: at, Rail: run.Minus})
	}
	for i, s := range r.Supplies {
		amps := solver.SupplyAmps(i)
		p.Supplies = append(p.Supplies, Supply{Name: s.Name, Amps: amps, Volts: s.Volts - amps*s.Ohms})
	}
	for i, f := range r.Feeds {
		p.Feeds = append(p.Feeds, Feed{Name: f.Name, Amps: solver.FeedAmps(i, run.Plus),
			Drop: pair(f.From) - pair(f.To), Ohms: f.Ohms})
	}
	for i, j := range r.Joints {
		amps := solver.JointAmps(i, run.Minus)
		if plus := solver.JointAmps(i, run.Plus); math.Abs(plus) > math.Abs(amps) {
			amps = plus
		}
		from := run.Place{Kind: run.AtReel, Index: j.From, Pixel: r.Reels[j.From].Pixels}
		to := run.Place{Kind: run.AtReel, Index: j.To, Pixel: 1}
		drop := pair(from) - pair(to)
		if j.PlusCut { // the plus of either side has its own supply; only the minus has a drop
			drop = solver.Potential(run.Point{Place: to, Rail: run.Minus}) - solver.Potential(run.Point{Place: from, Rail: run.Minus})
		}
		p.Joints = append(p.Joints, Joint{Name: j.Name, Amps: amps, Drop: drop, Ohms: j.Ohms})
	}
	for i, reel := range r.Reels {
		p.Reels = append(p.Reels, Reel{Name: reel.Name, Pixels: pixels(solver, i, reel.Pixels)})
	}
	for _, x := range solver.Runaways(step) {
		p.say("%s", x.Text(r))
	}
	p.warn(step)
	return p, nil
}

func pixels(solver *ladder.Solver, reel, n int) []Pixel {
	plus, minus, amps := make([]float64, n), make([]float64, n), make([]float64, n)
	solver.Reel(reel, plus, minus, amps)
	list := make([]Pixel, n)
	for k := range list {
		list[k] = Pixel{Volts: plus[k] - minus[k], Plus: plus[k], Minus: minus[k], Amps: amps[k]}
	}
	return list
}
