package estimate

import (
	"math"

	"ohmkeep/internal/ladder"
)

// chain turns a network gradient in step k at x into derivatives by unknown, row,
// and returns what the straight continuation beyond the bounds of bent resistances
// and factors adds to the output. That its slope changes with the other unknowns is
// left out of the derivatives: a second-order matter of the milliohm by which a
// perfect joint's estimate may come out below zero.
func (p *problem) chain(k int, x []float64, s *state, g *ladder.Gradient, row []float64) (beyond float64) {
	scale, idle, shift, stretch := 0.0, 0.0, 0.0, 0.0
	for i := range g.Scale {
		scale += g.Scale[i] * s.adjust.Scale
		idle += g.Idle[i] * s.adjust.Idle
		shift += g.Shift[i]
		stretch += g.Stretch[i]
	}
	for i, u := range p.unknowns {
		d, inside := 0.0, x[i]
		switch u.what {
		case jointRail:
			inside = clamp(x[i], unbendLeast, unbendMost)
			d = *side(&g.Joints[u.index], u.rail) * unbendSlope(inside)
		case feedRail:
			inside = clamp(x[i], unbendLeast, unbendMost)
			d = *side(&g.Feeds[u.index], u.rail) * unbendSlope(inside)
		case reelRail:
			inside = math.Max(x[i], factorLeast)
			d = *side(&g.Reels[u.index], u.rail) * p.segment[u.index] / 2 * s.factor(p, u.index)
		case supplyVolts:
			d = g.Supplies[u.index].Volts
		case supplyOhms:
			inside = math.Max(x[i], 0)
			d = g.Supplies[u.index].Ohms
		case stepVolts:
			if u.step == k {
				d = g.Supplies[u.index].Volts
			}
		case allScale:
			d = scale
		case stepScale:
			if u.step == k {
				d = scale
			}
		case idleScale:
			d = idle
		case allShift:
			d = shift
		case allStretch:
			d = stretch
		case stepShift:
			if u.step == k {
				d = shift
			}
		case warmth:
			d = p.warmthSlope(s, g)
		}
		row[i] = d
		beyond += d * (x[i] - inside)
	}
	return beyond
}

// warmthSlope is the derivative of an output with respect to the temperature.
func (p *problem) warmthSlope(s *state, g *ladder.Gradient) float64 {
	sum := 0.0
	for i := range g.Reels {
		// r(T) = r₂₀·(1 + α(T − 20)), so dr/dT = r(T)·α/(1 + α(T − 20)).
		part := ladder.CopperTempCo / s.factor(p, i)
		sum += part * (g.Reels[i].Plus*s.par.Reels[i].Plus + g.Reels[i].Minus*s.par.Reels[i].Minus)
	}
	for i, f := range p.run.Feeds {
		sum += (g.Feeds[i].Plus + g.Feeds[i].Minus) * ladder.FeedWire(f) / 2 * f.TempCo
	}
	return sum
}

// factor is 1 + α(T − 20) of a reel.
func (s *state) factor(p *problem, reel int) float64 {
	return 1 + ladder.CopperTempCo*(s.warm+p.temperature.reel[reel]-20)
}
