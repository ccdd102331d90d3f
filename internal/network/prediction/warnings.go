package prediction

import (
	"fmt"
	"math"

	"ohmkeep/internal/network/limits"
	"ohmkeep/internal/run"
)

// warn adds a warning for each value beyond a rating or limit in the step.
func (p *Prediction) warn(step run.Step) {
	p.Warnings = append(p.Warnings, p.Run.ParallelWarnings()...)
	p.warnSupplies()
	p.warnFeeds()
	p.warnJoints()
	for i := range p.Reels {
		p.warnKnee(i, step)
	}
	p.warnData()
	for _, reel := range p.Run.Reels {
		if reel.Strip.LoopOhms == 0 {
			p.say("reel %s: loop_milliohms_per_metre is not stated; 98.5 mΩ/m is assumed (two rails 10 mm wide of 35 µm copper)", reel.Name)
		}
	}
}

func (p *Prediction) say(format string, args ...any) {
	p.Warnings = append(p.Warnings, fmt.Sprintf(format, args...))
}

func (p *Prediction) warnSupplies() {
	for i, s := range p.Supplies {
		if u := limits.OfSupply(p.Run.Supplies[i], s.Amps); !u.Holds() {
			p.say("supply %s: %s", s.Name, continuous(u, fmt.Sprintf("its %.3g A", p.Run.Supplies[i].Amps)))
		}
		if s.Amps < -0.001 {
			p.say("supply %s: %.2f A would flow back into it", s.Name, -s.Amps)
		}
	}
}

func (p *Prediction) warnFeeds() {
	for i, f := range p.Feeds {
		feed := p.Run.Feeds[i]
		if u := limits.OfFuse(feed, f.Amps); !u.Holds() {
			p.say("feed %s: %s", f.Name, continuous(u, fmt.Sprintf("its %.3g A fuse", feed.Fuse)))
		}
		if u := limits.OfWire(feed, f.Amps); !u.Holds() {
			p.say("feed %s: %s", f.Name, continuous(u, fmt.Sprintf("the %.3g A of %s (%s)", feed.Ampacity, feed.Conductor, feed.AmpacityBy)))
		}
		if !limits.FuseProtects(feed) {
			p.say("feed %s: its %.3g A fuse does not protect %s, rated %.3g A (%s)", f.Name, feed.Fuse, feed.Conductor, feed.Ampacity, feed.AmpacityBy)
		}
		if u := limits.OfFeedDrop(p.Run, i, f.Drop); !u.Holds() {
			p.say("feed %s: %.0f mV drop is above its limit of %.0f mV (%.3g %% of %.3g V)", f.Name, 1000*u.Value, 1000*u.Limit, 100*p.Run.Limits.FeedDrop, p.Run.SupplyOf(i).Volts)
		}
	}
}

// continuous describes a current as a part of a rating, beside the part allowed for hours.
func continuous(u limits.Utilisation, rating string) string {
	return fmt.Sprintf("%.2f A is %.0f %% of %s; keep below %.0f %% for hours of use", u.Value, 100*limits.Continuous*u.Ratio(), rating, 100*limits.Continuous)
}

// warnJoints computes the heat of each joint with the resistance of its limit.
func (p *Prediction) warnJoints() {
	for i, j := range p.Joints {
		most := p.Run.Joints[i].Limit
		if u := limits.OfJointHeat(p.Run.Joints[i], j.Amps*j.Amps*most, 0); !u.Holds() {
			p.say("joint %s: at its limit of %.3g mΩ it would dissipate %.2f W at %.2f A; more than %.2f W in a closed channel is too warm",
				j.Name, 1000*most, u.Value, math.Abs(j.Amps), u.Limit)
		}
	}
}

// warnKnee warns of pixels whose lit channels cannot draw their full current. Those of regulated
// drivers run away and were reported before.
func (p *Prediction) warnKnee(i int, step run.Step) {
	reel := p.Run.Reels[i]
	if reel.Strip.Driver == run.Regulated {
		return
	}
	knee, channel := 0.0, ""
	for _, c := range reel.Strip.Channels {
		needs := c.Knee
		if reel.Strip.Driver == run.Resistor {
			needs = c.Forward
		}
		if step.Levels[c.Name] > 0 && needs > knee {
			knee, channel = needs, c.Name
		}
	}
	below, first, lowest := 0, 0, math.Inf(1)
	for k, x := range p.Reels[i].Pixels {
		if x.Volts < knee {
			if below == 0 {
				first = k + 1
			}
			below++
			lowest = math.Min(lowest, x.Volts)
		}
	}
	if below > 0 {
		p.say("reel %s: %d of %d pixels are below the %.2f V that %s needs, from pixel %d on; the lowest has %.2f V",
			reel.Name, below, reel.Pixels, knee, channel, first, lowest)
	}
}

// warnData compares the high level that the first pixel of each chain needs with that of 3.3 V and
// 5 V logic, against the pixel's raised ground.
func (p *Prediction) warnData() {
	for i, reel := range p.Run.Reels {
		if reel.Follows >= 0 || !limits.LogicFollowsStrip(reel.Strip) {
			continue
		}
		first := p.Reels[i].Pixels[0]
		need := limits.DataHigh(first.Volts)
		at3, at5 := 3.3-first.Minus-need, 5-first.Minus-need
		if at3 >= 0 && at5 >= 0 {
			continue
		}
		p.say("data into %s: its first pixel takes %.2f V for a high (0.7 × %.2f V) and its ground is lifted by %.0f mV: 3.3 V logic is %s, 5 V logic %s",
			reel.Name, need, first.Volts, 1000*first.Minus, margin(at3), margin(at5))
	}
}

func margin(volts float64) string {
	if volts < 0 {
		return fmt.Sprintf("%.2f V short", -volts)
	}
	return fmt.Sprintf("has %.2f V to spare", volts)
}
