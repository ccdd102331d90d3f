package plant

import (
	"math"
	"math/rand/v2"
)

// addGradient makes the pixels' currents change along the run. Half of Disturbance.Gradient is a jump
// between two reels: from there on the strip is of another delivery. Half is a change that begins
// at once and levels off, as the temperature of air that passes along the run does. A quarter more
// is in the middle of each reel, whose ends are cooled by the solder pads and cables. Each has a
// sign of its own.
func (p *Plant) addGradient(rng *rand.Rand) {
	if p.by.Gradient == 0 {
		return
	}
	sign := func() float64 { return p.by.Gradient * float64(1-2*rng.IntN(2)) }
	jump, along, middle := sign()/2, sign()/2, sign()/4
	changes, pixels, before := 0, 0, 0
	if len(p.Run.Reels) > 1 {
		changes = 1 + rng.IntN(len(p.Run.Reels)-1)
	}
	for _, reel := range p.Run.Reels {
		pixels += reel.Pixels
	}
	for i, factors := range p.factors {
		for k := range factors {
			at := (float64(before+k) + 0.5) / float64(pixels)
			own := (float64(k) + 0.5) / float64(len(factors))
			by := along*(1-math.Exp(-3*at)) + middle*math.Sin(math.Pi*own)
			if i >= changes {
				by += jump
			}
			factors[k] *= 1 + by
		}
		before += len(factors)
	}
}
