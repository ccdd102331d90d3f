// Package calibrationtest draws runs and readings from the fit's own model and priors, for
// simulation-based calibration in tests (Talts and others 2018, from memory): where the model is
// exactly right, intervals must contain the true value as often as they state. It shares packages
// network and pixel with the fit. Package plant draws runs by a model of its own.
//
// Everything is drawn from a seed, so that a simulation can be repeated. Figures are common
// practice, no source.
package calibrationtest

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/network/pixel"
	"ohmkeep/internal/run"
)

// Plant is the true state of a run. Its fields may be changed before Set.
type Plant struct {
	Run     *run.Run
	Celsius float64 // °C of the copper without load
	Rise    float64 // K by which the greatest load warms the strip's copper
	// True resistances at 20 °C: Ω of each conductor, and Ω/m for reels.
	Joints, Feeds, Reels []ladder.Rails
	Supplies             []ladder.Source
	Scales               []float64 // by step: factor on the channel currents
	Idle                 float64   // factor on the idle current
	Shift                float64   // V, of the knees
	Shape                pixel.Shape
	Unlit                []bool // by reel: stays dark in every step; nil = none does

	warmings []warming // by feed
	load     float64   // of what is shown, as a part of the run's greatest
	solver   *ladder.Solver
	par      ladder.Parameters
	loads    []pixel.Load
}

// Spread states how far a plant may differ from its run file. Each value is the half-width of a
// uniform distribution about the stated value.
type Spread struct {
	JointOhms   float64 // healthy joints lie between a fifth of this and this, Ω loop, either rail ±30 % of its half
	Wire        float64 // fraction: feeds
	Cable       float64 // fraction: each conductor of a feed about its half
	Strip       float64 // fraction: all reels, which are of one batch
	Reel        float64 // fraction: each reel about the batch
	Foil        float64 // fraction: how much more all of the plus has than the minus, over both
	Rail        float64 // fraction: each rail of a reel about its half
	Volts       float64 // fraction: supplies' volts
	Output      float64 // fraction: supplies' output resistance
	Scale       float64 // fraction: channel current, common to all steps
	Duty        float64 // fraction: one step against another
	Idle        float64 // fraction
	Shift       float64 // V
	Temperature float64 // K about ambient
	// Between zero and this:
	Rise     float64 // K, of the strip's copper by the greatest load
	FeedHeat float64 // K, of a feed's wire by its own current at the greatest load
}

// UsualSpread is a spread as installations have it (common practice, no source).
var UsualSpread = Spread{JointOhms: 0.006, Wire: 0.05, Strip: 0.05, Reel: 0.0125, Rail: 0.025,
	Volts: 0.01, Output: 0.5, Scale: 0.08, Duty: 0.04, Idle: 0.2, Shift: 0.1, Temperature: 10, Rise: 10, FeedHeat: 6}

// MixedSpread is the spread of runs that are built from stock: reels of several batches, foils whose rails
// differ in width, cables whose ends were crimped by hand (common practice, no source). Estimates
// are tested with it.
var MixedSpread = Spread{JointOhms: 0.006, Wire: 0.05, Cable: 0.03, Strip: 0.10, Reel: 0.05, Foil: 0.05, Rail: 0.05,
	Volts: 0.01, Output: 0.5, Scale: 0.08, Duty: 0.04, Idle: 0.2, Shift: 0.1, Temperature: 10, Rise: 10, FeedHeat: 6}

// New draws a plant about what a run file states, without faults.
func New(r *run.Run, by Spread, rng *rand.Rand) *Plant {
	around := func(spread float64) float64 { return 1 + spread*(2*rng.Float64()-1) }
	p := &Plant{Run: r, Celsius: r.Ambient + by.Temperature*(2*rng.Float64()-1), Shape: pixel.Ramp,
		Idle: around(by.Idle), Shift: by.Shift * (2*rng.Float64() - 1)}
	for _, j := range r.Joints {
		half := by.JointOhms * (0.2 + 0.8*rng.Float64()) / 2
		rails := ladder.Rails{Plus: half * around(0.3), Minus: half * around(0.3)}
		if j.PlusCut {
			rails.Plus = math.Inf(1)
		}
		p.Joints = append(p.Joints, rails)
	}
	for _, f := range r.Feeds {
		half := f.Ohms / 2 * around(by.Wire)
		rails := ladder.Rails{Plus: half, Minus: half}
		if by.Cable > 0 { // drawn only if needed, so that the plants of a seed without it do not change
			rails.Plus, rails.Minus = half*around(by.Cable), half*around(by.Cable)
		}
		p.Feeds = append(p.Feeds, rails)
	}
	strip, foil := around(by.Strip), 0.0
	if by.Foil > 0 {
		foil = around(by.Foil) - 1
	}
	for _, reel := range r.Reels {
		perMetre := reel.Strip.LoopOhms
		if perMetre == 0 {
			perMetre = ladder.AssumedLoopOhms
		}
		half := perMetre / 2 * strip * around(by.Reel)
		p.Reels = append(p.Reels, ladder.Rails{Plus: half * (1 + foil) * around(by.Rail), Minus: half * (1 - foil) * around(by.Rail)})
	}
	for _, s := range r.Supplies {
		p.Supplies = append(p.Supplies, ladder.Source{Volts: s.Volts * around(by.Volts), Ohms: s.Ohms * around(by.Output)})
	}
	common := around(by.Scale)
	for range r.Steps {
		p.Scales = append(p.Scales, common*around(by.Duty))
	}
	p.drawWarming(by)
	return p
}

// Open builds the network, with nodes at the places that will be read.
func (p *Plant) Open(places ...run.Place) error {
	net, err := ladder.New(p.Run, places...)
	if err != nil {
		return err
	}
	p.solver = net.NewSolver()
	p.par = ladder.Stated(p.Run)
	p.loads = make([]pixel.Load, len(p.Run.Reels))
	return nil
}

// Set makes the run show a step. Open must have been called.
func (p *Plant) Set(step int) error {
	for i, reel := range p.Run.Reels {
		levels := p.Run.Steps[step].Levels
		if p.Unlit != nil && p.Unlit[i] {
			levels = nil
		}
		p.loads[i] = pixel.New(reel.Strip, levels,
			pixel.Adjust{Scale: p.Scales[step], Idle: p.Idle, Shift: p.Shift, Shape: p.Shape})
	}
	p.load = p.loadOf(func(int) map[string]float64 { return p.Run.Steps[step].Levels })
	p.solver.Restart()
	if err := p.settle(); err != nil {
		return fmt.Errorf("simulated step %q: %w", p.Run.Steps[step].Name, err)
	}
	return nil
}

// Show makes every reel show a picture of its own, given by the levels of its
// channels; scale is a factor on all channel currents. Open must have been called.
func (p *Plant) Show(levels []map[string]float64, scale float64) error {
	for i, reel := range p.Run.Reels {
		p.loads[i] = pixel.New(reel.Strip, levels[i], pixel.Adjust{Scale: scale, Idle: p.Idle, Shift: p.Shift, Shape: p.Shape})
	}
	p.load = p.loadOf(func(reel int) map[string]float64 { return levels[reel] })
	if err := p.settle(); err != nil {
		return fmt.Errorf("simulated picture: %w", err)
	}
	return nil
}

// settle solves the network at the temperature of its copper.
func (p *Plant) settle() error {
	warm := p.StripCelsius() - 20
	copy(p.par.Joints, p.Joints)
	copy(p.par.Supplies, p.Supplies)
	for i, f := range p.Run.Feeds {
		add := ladder.FeedWire(f) / 2 * f.TempCo * (p.feedCelsius(i) - 20)
		p.par.Feeds[i] = ladder.Rails{Plus: p.Feeds[i].Plus + add, Minus: p.Feeds[i].Minus + add}
	}
	for i, reel := range p.Run.Reels {
		factor := reel.SegmentLength() * (1 + ladder.CopperTempCo*warm)
		p.par.Reels[i] = ladder.Rails{Plus: p.Reels[i].Plus * factor, Minus: p.Reels[i].Minus * factor}
	}
	return p.solver.Solve(&p.par, p.loads)
}

// Parameters are the resistances and supplies at the temperatures of what is shown.
func (p *Plant) Parameters() ladder.Parameters {
	return ladder.Parameters{Supplies: slices.Clone(p.par.Supplies), Reels: slices.Clone(p.par.Reels), Joints: slices.Clone(p.par.Joints), Feeds: slices.Clone(p.par.Feeds)}
}

// Volts is the true voltage between two points in the step that was set.
func (p *Plant) Volts(from, to run.Point) float64 {
	return p.solver.Potential(from) - p.solver.Potential(to)
}

// Amps is the true current of a feed.
func (p *Plant) Amps(feed int) float64 { return p.solver.FeedAmps(feed, run.Plus) }

// JointAmps is the true current through the plus of a joint.
func (p *Plant) JointAmps(joint int) float64 { return p.solver.JointAmps(joint, run.Plus) }
