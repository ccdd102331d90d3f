package prediction

import (
	"fmt"
	"math"

	"ohmkeep/internal/run"
)

const (
	// continuous is the part of its rated amperes that a supply should carry for
	// hours (common practice, no source).
	continuous = 0.8
	// warmJoint is what a joint in a closed channel may dissipate, W (common
	// practice, no source).
	warmJoint = 0.25
	// highLevel is the part of its supply that a pixel takes for a high data level,
	// the usual CMOS input threshold (common practice, no source).
	highLevel = 0.7
	// logicVolts is the highest strip voltage whose pixels' logic runs on the strip's
	// own volts; above it they have a regulator inside.
	logicVolts = 5.5
)

// warn lists what goes beyond a rating or budget in the step.
func (p *Prediction) warn(step run.Step) {
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
		rated := p.Run.Supplies[i].Amps
		switch {
		case s.Amps > continuous*rated && rated > 0:
			p.say("supply %s: %.2f A is %.0f %% of its %.3g A; keep below 80 %% for hours of use", s.Name, s.Amps, 100*s.Amps/rated, rated)
		case s.Amps < -0.001:
			p.say("supply %s: %.2f A would flow back into it; never parallel two supplies' plus rails: part the plus between them", s.Name, -s.Amps)
		}
	}
}

func (p *Prediction) warnFeeds() {
	for i, f := range p.Feeds {
		feed := p.Run.Feeds[i]
		amps := math.Abs(f.Amps)
		if feed.Fuse > 0 && amps > feed.Fuse {
			p.say("feed %s: %.2f A is above its %.3g A fuse", f.Name, amps, feed.Fuse)
		}
		if feed.Ampacity > 0 && amps > feed.Ampacity {
			p.say("feed %s: %.2f A is above the %.3g A of %s (%s)", f.Name, amps, feed.Ampacity, feed.Conductor, feed.AmpacityBy)
		}
		if feed.Fuse > 0 && feed.Ampacity > 0 && feed.Fuse > feed.Ampacity {
			p.say("feed %s: its %.3g A fuse does not protect %s, rated %.3g A (%s)", f.Name, feed.Fuse, feed.Conductor, feed.Ampacity, feed.AmpacityBy)
		}
		volts := p.Run.SupplyOf(i).Volts
		if budget := p.Run.Limits.FeedDrop * volts; f.Drop > budget {
			p.say("feed %s: %.0f mV drop is above its budget of %.0f mV (%.3g %% of %.3g V)", f.Name, 1000*f.Drop, 1000*budget, 100*p.Run.Limits.FeedDrop, volts)
		}
	}
}

func (p *Prediction) warnJoints() {
	for i, j := range p.Joints {
		limit := p.Run.Joints[i].Limit
		if watts := j.Amps * j.Amps * limit; watts > warmJoint {
			p.say("joint %s: at its limit of %.3g mΩ it would dissipate %.2f W at %.2f A; more than %.2f W in a closed channel is too warm",
				j.Name, 1000*limit, watts, math.Abs(j.Amps), warmJoint)
		}
	}
}

// warnKnee tells of pixels whose lit channels cannot draw their full current.
// Those of regulated drivers run away and are told of before.
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

// warnData compares the high level that the first pixel of each chain needs with
// what 3.3 V and 5 V logic gives it, over the pixel's own lifted ground.
func (p *Prediction) warnData() {
	for i, reel := range p.Run.Reels {
		if reel.Follows >= 0 || reel.Strip.Volts > logicVolts {
			continue
		}
		first := p.Reels[i].Pixels[0]
		need := highLevel * first.Volts
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
