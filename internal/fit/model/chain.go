package model

import (
	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/network/pixel"
	"ohmkeep/internal/run"
)

// ChainRule turns a network gradient in step k at x into derivatives by unknown, written to row.
func (m *Model) ChainRule(k int, x []float64, s *State, g *ladder.Gradient, row []float64) {
	scale, idle, shift, stretch := 0.0, 0.0, 0.0, 0.0
	var trend [pixel.TrendTerms]float64
	warmth, common, follows := m.temperatureSlopes(s, g)
	for i := range g.Scale {
		if g.Scale[i] != 0 { // few reels of a large run
			own := g.Scale[i] * s.Adjust.AtReel(i, len(g.Scale)).Scale
			scale += own
			for term := range trend {
				trend[term] += own * pixel.TrendAt(term, i, len(g.Scale))
			}
		}
		idle += g.Idle[i] * s.Adjust.Idle
		shift += g.Shift[i]
		stretch += g.Stretch[i]
	}
	unlisted := 0.0
	for i, drain := range s.Par.Drains {
		amps := g.Drains[i] * drain.Amps
		unlisted += amps
		scale += amps * s.unlisted[i].channels
		idle += amps * s.unlisted[i].idle
	}
	clear(row)
	transformed := func(of [][2]int, g []ladder.Rails) {
		for i, by := range g {
			if by != (ladder.Rails{}) { // few conductors of a large run
				for rail, at := range of[i] {
					if at != Absent {
						row[at] = *side(&by, run.Rail(rail)) * prior.ToOhmsSlope(m.Unknowns[at].inside(x[at]))
					}
				}
			}
		}
	}
	transformed(m.Joints, g.Joints)
	transformed(m.Feeds, g.Feeds)
	for i, by := range g.Reels {
		if by != (ladder.Rails{}) {
			ohms := m.Segment[i] / 2 * s.copperFactor(m, i)
			row[m.Reels[i][run.Plus]], row[m.Reels[i][run.Minus]] = by.Plus*ohms, by.Minus*ohms
		}
	}
	for i := m.conductors; i < len(m.Unknowns); i++ {
		u := &m.Unknowns[i]
		d := 0.0
		switch u.What {
		case SupplyVolts:
			d = g.Supplies[u.Index].Volts
		case SupplyOhms:
			d = g.Supplies[u.Index].Ohms
		case StepVolts:
			if u.Step == k {
				d = g.Supplies[u.Index].Volts
			}
		case CurrentScale:
			d = scale
		case StepCurrentScale:
			if u.Step == k {
				d = scale
			}
		case CurrentTrend:
			d = trend[u.Index]
		case IdleCurrentScale:
			d = idle
		case KneeShift:
			d = shift
		case KneeStretch:
			d = stretch
		case StepKneeShift:
			if u.Step == k {
				d = shift
			}
		case CopperTemperature:
			d = common
		case FeedFollows:
			d = follows
		case FeedHeat:
			f := &m.Run.Feeds[u.Index]
			d = (g.Feeds[u.Index].Plus + g.Feeds[u.Index].Minus) * ladder.FeedWire(*f) / 2 * f.TempCo * s.heatLoad
		case StepTemperature:
			if u.Step == k {
				d = warmth
			}
		case UnlistedShare:
			d = g.Drains[u.Index] * s.unlisted[u.Index].amps
		case StepUnlistedScale:
			if u.Step == k {
				d = unlisted / s.unlistedScale
			}
		}
		row[i] = d
	}
}

// temperatureSlopes returns the derivatives of an output by the temperature of the step, by that of all
// steps, per K, and by the part of a step's change that the feeds' wire takes.
func (m *Model) temperatureSlopes(s *State, g *ladder.Gradient) (step, all, follows float64) {
	for i := range g.Reels {
		if g.Reels[i] == (ladder.Rails{}) {
			continue
		}
		// r(T) = r₂₀·(1 + α(T − 20)), so dr/dT = r(T)·α/(1 + α(T − 20)).
		part := ladder.CopperTempCo / s.copperFactor(m, i)
		all += part * (g.Reels[i].Plus*s.Par.Reels[i].Plus + g.Reels[i].Minus*s.Par.Reels[i].Minus)
	}
	feeds := 0.0
	for i, f := range m.Run.Feeds {
		feeds += (g.Feeds[i].Plus + g.Feeds[i].Minus) * ladder.FeedWire(f) / 2 * f.TempCo
	}
	return all + s.follows*feeds, all + feeds, s.change * feeds
}

// copperFactor returns 1 + α(T − 20 °C) of a reel.
func (s *State) copperFactor(m *Model, reel int) float64 {
	return 1 + ladder.CopperTempCo*(s.temperature+m.temperature.reel[reel]-20)
}
