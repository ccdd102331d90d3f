package estimate

import (
	"math"
	"ohmkeep/internal/ladder"
	"ohmkeep/internal/pixel"
	"ohmkeep/internal/run"
)

// state is what the unknowns make of the network in one step.
type state struct {
	par    ladder.Parameters
	adjust pixel.Adjust
	loads  []pixel.Load
	warm   float64 // °C
}

func (p *problem) newState() *state {
	// What is no unknown, such as the parted plus of a joint, stays as stated.
	return &state{par: ladder.Stated(p.run), loads: make([]pixel.Load, len(p.run.Reels))}
}

// absent stands for the unknown of a conductor that is parted on purpose.
const absent = -1

// set fills the state of step k from the unknowns x.
func (p *problem) set(k int, x []float64, s *state) {
	adjust := pixel.AsStated
	scale, idle := 0.0, 0.0
	for i, u := range p.unknowns {
		v := x[i]
		switch u.what {
		case jointRail:
			*side(&s.par.Joints[u.index], u.rail) = unbend(clamp(v, unbendLeast, unbendMost))
		case feedRail:
			*side(&s.par.Feeds[u.index], u.rail) = unbend(clamp(v, unbendLeast, unbendMost))
		case reelRail:
			*side(&s.par.Reels[u.index], u.rail) = p.segment[u.index] / 2 * math.Max(v, factorLeast)
		case supplyVolts:
			s.par.Supplies[u.index].Volts = v
		case supplyOhms:
			s.par.Supplies[u.index].Ohms = math.Max(v, 0)
		case allScale:
			scale += v
		case idleScale:
			idle = v
		case allShift:
			adjust.Shift += v
		case allStretch:
			adjust.Stretch = clamp(v, -2, 2)
		case warmth:
			s.warm = v
		case stepVolts:
			if u.step == k {
				s.par.Supplies[u.index].Volts += v
			}
		case stepScale:
			if u.step == k {
				scale += v
			}
		case stepShift:
			if u.step == k {
				adjust.Shift += v
			}
		}
	}
	for i := range s.par.Reels {
		factor := s.factor(p, i)
		s.par.Reels[i].Plus *= factor
		s.par.Reels[i].Minus *= factor
	}
	for i, f := range p.run.Feeds {
		add := ladder.FeedWire(f) / 2 * f.TempCo * (s.warm + p.temperature.feed[i] - 20)
		s.par.Feeds[i].Plus = math.Max(s.par.Feeds[i].Plus+add, 0)
		s.par.Feeds[i].Minus = math.Max(s.par.Feeds[i].Minus+add, 0)
	}
	adjust.Scale, adjust.Idle = math.Exp(clamp(scale, -5, 5)), math.Exp(clamp(idle, -5, 5))
	s.adjust = adjust
	for i, reel := range p.run.Reels {
		s.loads[i] = pixel.New(reel.Strip, p.run.Steps[p.steps[k]].Levels, adjust)
	}
}

func side(r *ladder.Rails, rail run.Rail) *float64 {
	if rail == run.Plus {
		return &r.Plus
	}
	return &r.Minus
}

func clamp(x, low, high float64) float64 { return math.Min(math.Max(x, low), high) }
