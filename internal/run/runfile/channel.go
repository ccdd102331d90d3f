package runfile

import (
	"fmt"
	"math"

	"ohmkeep/internal/run"
)

// fractions are the knee or forward voltages as fractions of the rated volts, for a file that
// states no volts (common practice, no source): red starts at a lower voltage than the others.
type fractions struct{ red, other float64 }

func (f fractions) of(channel string) float64 {
	if channel == "red" {
		return f.red
	}
	return f.other
}

var (
	linearForward   = fractions{0.32, 0.50}
	linearKnee      = fractions{0.50, 0.72} // below 0.8, where a linear driver draws its full current
	resistorForward = fractions{0.40, 0.60}
	regulatedKnee   = fractions{0.60, 0.60}
)

// agreement is the largest relative difference allowed between ohms and channel_milliamps.
const agreement = 0.05

// channel returns one channel of a strip.
func (s settings) channel(name string) run.Channel {
	c := run.Channel{Name: name, Light: s.primaries.light(name), Usual: !s.primaries.has(name)}
	amps, stated := s.milliamps.of(name)
	c.Amps = amps / 1000
	if _, has := s.ohms.of(name); !stated && !has && s.milliamps.table != nil {
		s.milliamps.table.Missing(name, "each channel of the strip has its current")
	}
	if s.volts.value <= 0 {
		return c
	}
	switch s.driver {
	case run.Linear:
		s.linear(&c)
	case run.Resistor:
		s.resistor(&c, stated && amps > 0)
	case run.Regulated:
		knee, ok := s.knee.of(c.Name)
		if c.Knee = knee; !ok || knee <= 0 {
			c.KneeAssumed = true
			c.Knee = regulatedKnee.of(c.Name) * s.volts.value
		}
		s.atMostRated(s.knee, c.Name, c.Knee)
	}
	return c
}

func (s settings) linear(c *run.Channel) {
	rated := s.volts.value
	forward, hasForward := s.forward.of(c.Name)
	knee, hasKnee := s.knee.of(c.Name)
	hasKnee = hasKnee && knee > 0
	c.KneeAssumed = !hasKnee
	usual, usualKnee := linearForward.of(c.Name)*rated, linearKnee.of(c.Name)*rated
	switch {
	case !hasForward && !hasKnee:
		forward, knee = usual, usualKnee
	case !hasForward:
		forward = math.Min(usual, knee*usual/usualKnee)
	case !hasKnee:
		if knee = usualKnee; knee <= forward {
			knee = (forward + rated) / 2
		}
	}
	c.Forward, c.Knee = forward, knee
	if !s.atMostRated(s.knee, c.Name, knee) {
		return
	}
	if forward >= knee {
		s.forward.fault(c.Name, fmt.Sprintf("%g V is not below the knee, %g V", forward, knee),
			"no current flows below forward_volts, the full current from knee_volts up")
	}
}

// resistor computes the third of three figures from the other two: amps × ohms = rated − forward.
func (s settings) resistor(c *run.Channel, hasAmps bool) {
	rated := s.volts.value
	forward, hasForward := s.forward.of(c.Name)
	ohms, hasOhms := s.ohms.of(c.Name)
	hasOhms = hasOhms && ohms > 0
	if !hasForward {
		forward = resistorForward.of(c.Name) * rated
		c.KneeAssumed = !hasOhms || !hasAmps
		if hasOhms && hasAmps {
			forward = rated - c.Amps*ohms
		}
	}
	switch {
	case hasForward && forward >= rated:
		s.forward.fault(c.Name, fmt.Sprintf("%g V is not below the rated %g V", forward, rated), "")
	case forward < 0:
		s.ohms.fault(c.Name, fmt.Sprintf("%g Ω at %g mA is more than the rated %g V", ohms, c.Amps*1000, rated), "")
	case hasOhms && hasAmps && math.Abs(c.Amps*ohms/(rated-forward)-1) > agreement:
		s.ohms.fault(c.Name, fmt.Sprintf("%g Ω and channel_milliamps contradict each other", ohms),
			fmt.Sprintf("(%g V - %g V) / %g mA is %.4g Ω", rated, forward, c.Amps*1000, (rated-forward)/c.Amps))
	}
	if !hasOhms && hasAmps {
		ohms = (rated - forward) / c.Amps
	}
	c.Forward, c.Ohms = forward, ohms
	if hasOhms && ohms > 0 {
		c.Amps = (rated - forward) / ohms
	}
}

// atMostRated reports a knee above the rated volts.
func (s settings) atMostRated(knee setting, channel string, x float64) bool {
	if x <= s.volts.value {
		return true
	}
	knee.fault(channel, fmt.Sprintf("%g V is above the rated %g V", x, s.volts.value), "")
	return false
}

// fault reports a wrong figure of one channel at the place where the file states it.
func (s setting) fault(channel, text, hint string) {
	switch {
	case s.from == nil:
	case s.table != nil:
		s.table.Fault(channel, text, hint)
	default:
		s.from.Fault(s.key, channel+": "+text, hint)
	}
}
