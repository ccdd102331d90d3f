package loadlimit

import (
	"math"

	"ohmkeep/internal/network/limits"
	"ohmkeep/internal/run"
)

// most keeps, for each criterion, the part of the run that uses most of its limit.
func (s *State) most(u limits.Utilisation) {
	if have := &s.Utilisations[u.Criterion]; have.Subject == "" || u.Ratio() > have.Ratio() {
		*have = u
	}
}

func (c *Circuit) feeds() {
	r, s := c.is.Run, &c.state
	for i, f := range r.Feeds {
		plus, minus := c.solver.FeedAmps(i, run.Plus), c.solver.FeedAmps(i, run.Minus)
		p := c.is.Parameters.Feeds[i]
		s.most(limits.OfFeedDrop(r, i, math.Abs(drop(plus, p.Plus)+drop(minus, p.Minus))))
		amps := math.Max(math.Abs(plus), math.Abs(minus))
		if f.Fuse > 0 {
			s.most(limits.OfFuse(f, amps))
		}
		if f.Ampacity > 0 {
			s.most(limits.OfWire(f, amps))
		}
	}
}

// drop is current times resistance; an open conductor carries nothing.
func drop(amps, ohms float64) float64 {
	if math.IsInf(ohms, 1) {
		return 0
	}
	return amps * ohms
}

func (c *Circuit) joints() {
	for i, j := range c.is.Run.Joints {
		plus, minus := c.solver.JointAmps(i, run.Plus), c.solver.JointAmps(i, run.Minus)
		p := c.is.Parameters.Joints[i]
		watts := plus*drop(plus, p.Plus) + minus*drop(minus, p.Minus)
		c.state.most(limits.OfJointHeat(j, watts, c.allow.JointWatts))
	}
}

// reel examines every pixel of a reel: its volts, its light, and whether it reads the data of the
// pixel before it.
func (c *Circuit) reel(i int) {
	reel, s, law := &c.is.Run.Reels[i], &c.state, &c.lights[i]
	plus, minus := c.plus[:reel.Pixels], c.minus[:reel.Pixels]
	c.solver.Reel(i, plus, minus, nil)
	// One pass without a function call for each pixel, because most of the time is spent here.
	least, at := math.Inf(1), 0
	worst, tight := 0.0, -1 // the level that a pixel needs over the one that the pixel before it sends
	for k, p := range plus {
		v := p - minus[k]
		if v < least {
			least, at = v, k
		}
		if k > 0 {
			if sent := plus[k-1] - minus[k]; v > worst*sent {
				worst, tight = math.Inf(1), k
				if sent > 0 {
					worst = v / sent
				}
			}
		}
	}
	if least < s.LeastVolt {
		s.LeastVolt, s.Reel, s.Pixel = least, reel.Name, at+1
	}
	if knee := c.minimum(reel); knee > 0 {
		s.most(steady(reel.Name, at+1, knee, least))
	}
	if least >= law.Flat() || law.Dark() {
		s.most(limits.OfColour(c.is.Run, i, at+1, 0))
		s.most(limits.OfBrightness(c.is.Run, i, at+1, 0))
	} else {
		shift, lost, where, dimmest := 0.0, 0.0, at, at
		for k := range plus {
			seen := law.Output(plus[k] - minus[k])
			if seen.Shift > shift {
				shift, where = seen.Shift, k
			}
			if d := seen.Dimming(); d > lost {
				lost, dimmest = d, k
			}
		}
		s.most(limits.OfColour(c.is.Run, i, where+1, shift))
		s.most(limits.OfBrightness(c.is.Run, i, dimmest+1, lost))
	}
	if tight > 0 && limits.LogicFollowsStrip(reel.Strip) {
		s.most(limits.OfData(reel.Name, tight+1, plus[tight-1], plus[tight], minus[tight]))
	}
}

// minimum returns the minimum voltage of the regulated pixels of a reel, V, the highest of the lit
// channels; 0 for other drivers and with all channels dark. Below it there is no steady state.
func (c *Circuit) minimum(reel *run.Reel) float64 {
	knee := 0.0
	if reel.Strip.Driver == run.Regulated && c.state.Level > 0 {
		for _, ch := range reel.Strip.Channels {
			if c.mix.Levels[ch.Name] > 0 {
				knee = math.Max(knee, ch.Knee)
			}
		}
	}
	return knee
}

// steady returns the utilisation of a regulated pixel's voltage: the minimum over the actual, V.
func steady(reel string, pixel int, needs, has float64) limits.Utilisation {
	return limits.Utilisation{Criterion: limits.SteadyState, Subject: reel, Pixel: pixel, Value: needs, Limit: math.Max(has, 1e-3)}
}

// data examines the first pixel of each reel, which the last pixel of the reel
// before it drives, or the controller, whose minus is that of the first supply.
func (c *Circuit) data() {
	r := c.is.Run
	end := func(reel, pixel int, rail run.Rail) float64 {
		return c.solver.Potential(run.Point{Place: run.Place{Kind: run.AtReel, Index: reel, Pixel: pixel}, Rail: rail})
	}
	for i, reel := range r.Reels {
		if !limits.LogicFollowsStrip(reel.Strip) {
			continue
		}
		sent := c.allow.DataVolts
		if reel.Follows >= 0 {
			if !limits.LogicFollowsStrip(r.Reels[reel.Follows].Strip) {
				continue
			}
			sent = end(reel.Follows, r.Reels[reel.Follows].Pixels, run.Plus)
		}
		c.state.most(limits.OfData(reel.Name, 1, sent, end(i, 1, run.Plus), end(i, 1, run.Minus)))
	}
}
