// Package plant simulates a real run and a person who reads it, for tests of estimates and for
// examples. It shares nothing with the fit: it solves the network by nodal analysis of its own,
// pixel by pixel; its pixels follow other curves; and its disturbances (Disturbance) are larger than
// the fit assumes. Faults of a run and mistakes in writing readings down are in planttest. A test
// checks that it imports no package of the fit, of drift or of the other network solver.
//
// Everything is drawn from a seed, so that a case can be repeated. Figures without a
// source are common practice.
package plant

import (
	"fmt"
	"math"
	"math/rand/v2"

	"ohmkeep/internal/run"
)

// Rails is a property of each of two conductors.
type Rails struct{ Plus, Minus float64 }

// Loop is both conductors together.
func (r Rails) Loop() float64 { return r.Plus + r.Minus }

// Plant is the true state of a run. Its fields may be changed before Set.
type Plant struct {
	Run *run.Run

	// True resistances at 20 °C in Ω, of reels in Ω/m as the mean along the reel. +Inf
	// conducts nothing.
	Joints, Feeds, Reels []Rails
	Wires                []Rails // by feed: the part of Feeds that is wire, which alone warms
	Supplies             []Source
	Copper               float64 // °C of the strip's in the first step

	pixels  pixels
	by      Disturbance
	thins   []float64            // by reel: the end's resistance over the mean, less one
	factors [][]float64          // by reel and pixel: on the pixel's current
	levels  []map[string]float64 // by step: what the controller really sends

	warmings []warming // by feed
	heat     []float64 // by feed: K by which its own current warms it

	step  int
	net   *circuit
	volts []float64 // of each node
}

// Source is a supply's voltage behind its output resistance.
type Source struct{ Volts, Ohms float64 }

// New draws the true state of a run, without faults.
func New(r *run.Run, by Disturbance, rng *rand.Rand) *Plant {
	p := &Plant{Run: r, by: by, Copper: r.Ambient + between(rng, -6, 8), pixels: drawPixels(r.Reels[0].Strip.Volts, rng)}
	for _, j := range r.Joints {
		half := math.Exp(between(rng, math.Log(0.001), math.Log(0.008))) / 2
		rails := Rails{half * about(rng, 0.4), half * about(rng, 0.4)}
		if j.PlusCut {
			rails.Plus = math.Inf(1)
		}
		p.Joints = append(p.Joints, rails)
	}
	for _, f := range r.Feeds {
		half := f.Ohms / 2 * about(rng, 0.04)
		p.Feeds = append(p.Feeds, Rails{half*about(rng, 0.02) + between(rng, 0.0003, 0.002), half*about(rng, 0.02) + between(rng, 0.0003, 0.002)})
	}
	p.drawWarming()
	unstated := 0.0 // Ω/m, of strips whose resistance the run file does not state
	batch, skew := about(rng, 0.07), foils(by.Foils, rng)
	ownSkew := rng.IntN(2) == 0
	for _, reel := range r.Reels {
		loop := reel.Strip.LoopOhms
		if loop == 0 && unstated == 0 {
			unstated = between(rng, 0.06, 0.12)
		}
		if loop == 0 {
			loop = unstated
		}
		half := loop / 2 * batch * about(rng, 0.02)
		if ownSkew {
			skew = foils(by.Foils, rng)
		}
		p.Reels = append(p.Reels, Rails{half * (1 + skew), half * (1 - skew)})
		p.thins = append(p.thins, by.Thinning/2*float64(1-2*rng.IntN(2)))
		factors := make([]float64, reel.Pixels)
		for k := range factors {
			factors[k] = 1 + normal(rng, by.Pixels)
		}
		p.factors = append(p.factors, factors)
	}
	p.addGradient(rng)
	for _, s := range r.Supplies {
		p.Supplies = append(p.Supplies, Source{s.Volts * about(rng, 0.006), math.Max(s.Ohms, 0.001) * about(rng, 0.4)})
	}
	for _, step := range r.Steps {
		off, levels := 1+normal(rng, by.Levels), map[string]float64{}
		for _, name := range []string{"red", "green", "blue", "white"} {
			levels[name] = step.Levels[name] * off
		}
		p.levels = append(p.levels, levels)
	}
	return p
}

// foils draws the difference of the rails' resistances over their sum: one has up
// to 1 + most times what the other has.
func foils(most float64, rng *rand.Rand) float64 { return most / (2 + most) * between(rng, -1, 1) }

// Set makes the run show a step.
func (p *Plant) Set(step int) error {
	p.step = step
	p.volts = nil // the result must not depend on the step before, not even in the last digit
	if err := p.solve(p.levels[step]); err != nil {
		return fmt.Errorf("simulated step %q: %w", p.Run.Steps[step].Name, err)
	}
	return nil
}

// Show makes every reel show a picture of its own, given by the levels of its channels. The
// potentials of the picture before are the first guess.
func (p *Plant) Show(levels []map[string]float64) error {
	if err := p.solve(levels...); err != nil {
		p.volts = nil
		return fmt.Errorf("simulated picture: %w", err)
	}
	return nil
}

// Celsius is the temperature of the strip's copper in the step that was set, in °C.
func (p *Plant) Celsius() float64 { return p.Copper + p.by.Warming*float64(p.step) }

// copperTempCo is that of annealed copper at 20 °C, in 1/K (IEC 60028, from memory).
const copperTempCo = 0.00393
