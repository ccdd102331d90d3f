package calibrationtest

import (
	"math"
	"math/rand/v2"

	"ohmkeep/internal/network/pixel"
)

// warming is how the wire of one feed warms.
type warming struct {
	follows float64 // part of the rise of the strip's copper that it takes
	heat    float64 // K by which its own current warms it at the run's greatest load
}

// drawWarming draws how the copper warms, from a generator of its own, so that what else a seed draws
// does not depend on it.
func (p *Plant) drawWarming(by Spread) {
	rng := rand.New(rand.NewPCG(math.Float64bits(p.Celsius), 3))
	p.Rise = by.Rise * rng.Float64()
	for range p.Run.Feeds {
		p.warmings = append(p.warmings, warming{follows: rng.Float64(), heat: by.FeedHeat * rng.Float64()})
	}
}

// StripCelsius is the temperature of the strip's copper with what is shown, °C.
func (p *Plant) StripCelsius() float64 { return p.Celsius + p.Rise*p.load }

// feedCelsius is the temperature of a feed's wire with what is shown, °C.
func (p *Plant) feedCelsius(i int) float64 {
	w := p.warmings[i]
	return p.Celsius + w.follows*p.Rise*p.load + w.heat*p.load*p.load
}

// loadOf returns the stated current of reels with some levels, as a part of that of the run's brightest
// step.
func (p *Plant) loadOf(levels func(reel int) map[string]float64) float64 {
	amps := func(levels func(reel int) map[string]float64) (sum float64) {
		for i, reel := range p.Run.Reels {
			load := pixel.New(reel.Strip, levels(i), pixel.AsStated)
			a, _ := load.Current(reel.Strip.Volts)
			sum += float64(reel.Pixels) * a
		}
		return sum
	}
	most := 0.0
	for _, step := range p.Run.Steps {
		most = math.Max(most, amps(func(int) map[string]float64 { return step.Levels }))
	}
	if most == 0 {
		return 0
	}
	return amps(levels) / most
}
