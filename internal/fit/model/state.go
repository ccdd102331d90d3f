package model

import (
	"math"

	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/network/pixel"
	"ohmkeep/internal/run"
)

// State is the network in one step for given unknowns.
type State struct {
	Par           ladder.Parameters
	Adjust        pixel.Adjust
	loads         []pixel.Load
	temperature   float64        // °C, of the strip's copper
	change        float64        // K, the part of it that is the step's own
	follows       float64        // part of that which the feeds' wire takes
	heatLoad      float64        // part of its heat in the run's brightest step that a feed's current gives
	heat          []float64      // K by which its own current warms each feed's wire
	unlisted      []unlistedUnit // by drain
	unlistedScale float64        // factor of the step on them
}

// newState returns a state with the run as stated.
func (m *Model) newState() *State {
	// A conductor without an unknown, such as the cut plus of a joint, stays as stated.
	return &State{Par: ladder.Stated(m.Run), loads: make([]pixel.Load, len(m.Run.Reels)), heat: make([]float64, len(m.Run.Feeds))}
}

// StateAt returns the state of step k at the unknowns x under some assumptions.
func (m *Model) StateAt(a Assumptions, k int, x []float64) *State {
	s := m.newState()
	m.set(s, k, x, m.LitSteps(a)[k], a.DarkReel)
	return s
}

// minFeedOhms is the least resistance of a feed's conductor, Ω, at which the network is solved. A
// trial with a temperature far too low would make its wire more negative.
const minFeedOhms = -0.02

// Absent is the index of something that does not exist, such as the unknown of a cut conductor or
// the feed of a voltage reading.
const Absent = -1

// set fills the state of step k from the unknowns x. lit is the run's step whose load is lit, and
// dark a reel that is not.
func (m *Model) set(s *State, k int, x []float64, lit, dark int) {
	adjust := pixel.AsStated
	scale, idle := 0.0, 0.0
	s.temperature, s.change, s.heatLoad = 0, 0, m.temperature.heatLoad[lit]
	for i := range m.Unknowns {
		u, v := &m.Unknowns[i], x[i]
		switch u.What {
		case JointRail:
			*side(&s.Par.Joints[u.Index], u.Rail) = prior.ToOhms(u.inside(v))
		case FeedRail:
			*side(&s.Par.Feeds[u.Index], u.Rail) = prior.ToOhms(u.inside(v))
		case ReelRail:
			*side(&s.Par.Reels[u.Index], u.Rail) = m.Segment[u.Index] / 2 * u.inside(v)
		case SupplyVolts:
			s.Par.Supplies[u.Index].Volts = v
		case SupplyOhms:
			s.Par.Supplies[u.Index].Ohms = u.inside(v)
		case CurrentScale:
			scale += v
		case CurrentTrend:
			adjust.Trend[u.Index] = v
		case IdleCurrentScale:
			idle = v
		case KneeShift:
			adjust.Shift += v
		case KneeStretch:
			adjust.Stretch = clamp(v, -2, 2)
		case CopperTemperature:
			s.temperature += v
		case StepTemperature:
			if u.Step == k {
				s.temperature += v
				s.change = v
			}
		case FeedFollows:
			s.follows = v
		case FeedHeat:
			s.heat[u.Index] = v * s.heatLoad
		case StepVolts:
			if u.Step == k {
				s.Par.Supplies[u.Index].Volts += v
			}
		case StepCurrentScale:
			if u.Step == k {
				scale += v
			}
		case StepKneeShift:
			if u.Step == k {
				adjust.Shift += v
			}
		}
	}
	for i := range s.Par.Reels {
		factor := s.copperFactor(m, i)
		s.Par.Reels[i].Plus *= factor
		s.Par.Reels[i].Minus *= factor
	}
	for i, f := range m.Run.Feeds {
		add := ladder.FeedWire(f) / 2 * f.TempCo * (s.temperature - (1-s.follows)*s.change + s.heat[i] + m.temperature.feed[i] - 20)
		s.Par.Feeds[i].Plus = math.Max(s.Par.Feeds[i].Plus+add, minFeedOhms)
		s.Par.Feeds[i].Minus = math.Max(s.Par.Feeds[i].Minus+add, minFeedOhms)
	}
	adjust.Scale, adjust.Idle = math.Exp(clamp(scale, -5, 5)), math.Exp(clamp(idle, -5, 5))
	s.Adjust = adjust
	m.setUnlisted(s, k, x, lit)
	for i, reel := range m.Run.Reels {
		levels := m.Run.Steps[lit].Levels
		if i == dark {
			levels = nil
		}
		s.loads[i] = pixel.New(reel.Strip, levels, adjust.AtReel(i, len(m.Run.Reels)))
	}
}

// setBeyond sets the changes of resistances in a state from the bounds within which the network is solved (see
// Unknown.inside) to the unknowns x, in a straight line.
func (m *Model) setBeyond(c *ladder.Change, s *State, x []float64) {
	for i := range m.Unknowns {
		u := &m.Unknowns[i]
		inside := u.inside(x[i])
		beyond := x[i] - inside
		switch u.What {
		case JointRail:
			*side(&c.Joints[u.Index], u.Rail) = beyond * prior.ToOhmsSlope(inside)
		case FeedRail:
			*side(&c.Feeds[u.Index], u.Rail) = beyond * prior.ToOhmsSlope(inside)
		case ReelRail:
			*side(&c.Reels[u.Index], u.Rail) = beyond * m.Segment[u.Index] / 2 * s.copperFactor(m, u.Index)
		case SupplyOhms:
			c.Supplies[u.Index] = beyond
		}
	}
}

func side(r *ladder.Rails, rail run.Rail) *float64 {
	if rail == run.Plus {
		return &r.Plus
	}
	return &r.Minus
}

// clamp returns x, or the nearer of two bounds.
func clamp(x, low, high float64) float64 { return math.Min(math.Max(x, low), high) }
