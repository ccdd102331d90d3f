package plant

import (
	"math"
	"math/rand/v2"

	"ohmkeep/internal/run/conductor"
)

// warming is how the cable of one feed warms. A feed lies in a wall or a duct or hangs free, apart from
// the strip, whose copper is warmed by its pixels. Figures are common practice, no source.
type warming struct {
	apart   float64 // K, by which it is warmer than the strip's copper in the first step
	follows float64 // part of the warming of the strip's copper from step to step that it takes
	heat    float64 // K from each step to the next by which all feeds warm together
	perLoad float64 // K at 1 A/mm²: the rise by its own current
	area    float64 // mm²; 0 = not stated, and the feed's own current does not warm it
}

// loadExponent is how the rise of a cable above its surroundings grows with its current: heat by the
// square of the current, which free convection carries away by the 5/4th power of the rise (from memory).
const loadExponent = 1.6

// drawWarming draws for each feed how it warms, and which part of it is wire: the rest is terminals,
// crimps and a fuse. The numbers come from a generator of their own, so that what else a seed draws
// does not depend on them.
func (p *Plant) drawWarming() {
	rng := rand.New(rand.NewPCG(math.Float64bits(p.Copper), 3))
	heat := 0.0
	if p.by.FeedWarming > 0 {
		heat = between(rng, 0, p.by.FeedWarming)
	}
	for i, f := range p.Run.Feeds {
		share := between(rng, 0.8, 1)
		p.Wires = append(p.Wires, Rails{share * p.Feeds[i].Plus, share * p.Feeds[i].Minus})
		w := warming{apart: between(rng, -3, 2), follows: between(rng, 0, 1), heat: heat, perLoad: between(rng, 0.1, 0.35)}
		if c, err := conductor.Parse(f.Conductor, f.Material, f.Stranding); err == nil {
			w.area = c.Area()
		}
		p.warmings = append(p.warmings, w)
	}
}

// ownHeat returns the rise of each feed by its own current, in K, at the potentials that were solved.
func (p *Plant) ownHeat() []float64 {
	heat := make([]float64, len(p.Run.Feeds))
	for i, w := range p.warmings {
		if w.area > 0 {
			heat[i] = w.perLoad * math.Pow(math.Abs(p.Amps(i))/w.area, loadExponent)
		}
	}
	return heat
}

// warmFeed returns a feed's resistances at the temperature of its wire. The rest of a feed does not
// change with temperature.
func (p *Plant) warmFeed(i int) Rails {
	factor := p.Run.Feeds[i].TempCo * (p.feedCelsius(i) - 20)
	return Rails{p.Feeds[i].Plus + p.Wires[i].Plus*factor, p.Feeds[i].Minus + p.Wires[i].Minus*factor}
}

// feedCelsius returns the temperature of a feed's wire in the step that was set, in °C.
func (p *Plant) feedCelsius(i int) float64 {
	w := p.warmings[i]
	return p.Copper + w.apart + w.follows*(p.Celsius()-p.Copper) + w.heat*float64(p.step) + p.heat[i]
}

// ReplaceFeed puts another cable in a feed's place, with conductors of the given resistances at 20 °C
// and ends like those of the one before.
func (p *Plant) ReplaceFeed(i int, ohms Rails) {
	was := p.Feeds[i]
	p.Wires[i].Plus *= ohms.Plus / was.Plus
	p.Wires[i].Minus *= ohms.Minus / was.Minus
	p.Feeds[i] = ohms
}
