package plant

import (
	"math"
	"math/rand/v2"

	"ohmkeep/internal/run"
)

// Knee is the curve of a channel's current between its forward voltage and its full
// current. A datasheet shows none; each of these is smooth and reaches 99.9 % at
// 0.8 of the rated volts with the knees that a run file takes by default.
type Knee int

const (
	Exponential Knee = iota // 1 − exp(−5.5 u), of a saturating transistor
	Logistic                // 1/(1 + exp(8.5 (½ − u))), of a regulator that leaves regulation slowly
	Tangent                 // tanh(3 u)
	knees
)

// rise returns the curve and its slope at u, which is 0 at the forward voltage and
// 1 at the knee that the run file states.
func (k Knee) rise(u float64) (part, slope float64) {
	switch k {
	case Logistic:
		part = 1 / (1 + math.Exp(8.5*(0.5-u)))
		return part, 8.5 * part * (1 - part)
	case Tangent:
		if u <= 0 {
			return 0, 0
		}
		part = math.Tanh(3 * u)
		return part, 3 * (1 - part*part)
	}
	if u <= 0 {
		return 0, 0
	}
	rest := math.Exp(-5.5 * u)
	return 1 - rest, 5.5 * rest
}

// law is the current of the pixels of one reel in one step.
type law struct {
	driver   run.Driver
	knee     Knee
	channels []channel
	idle     float64 // A
	starting float64 // V, the scale on which the idle current comes up
	soft     float64 // V, over which an LED behind a resistor begins to conduct
}

type channel struct {
	size          float64 // A; W of a regulated driver; S of a resistor
	forward, span float64 // V
}

// current returns the current in A and its slope in S at v volts.
func (l *law) current(v float64) (amps, slope float64) {
	if v <= 0 {
		return 0, 0
	}
	rest := math.Exp(-v / l.starting)
	amps, slope = l.idle*(1-rest), l.idle*rest/l.starting
	for _, c := range l.channels {
		u := (v - c.forward) / c.span
		switch l.driver {
		case run.Resistor:
			// log(1 + exp(u)) with u in units of soft: a straight line with a soft start.
			u = (v - c.forward) / l.soft
			if u > 30 {
				amps += c.size * (v - c.forward)
				slope += c.size
				continue
			}
			e := math.Exp(u)
			amps += c.size * l.soft * math.Log1p(e)
			slope += c.size * e / (1 + e)
		case run.Regulated:
			part, rise := Logistic.rise(u)
			amps += c.size * part / v
			slope += c.size * (rise/c.span - part/v) / v
		default:
			part, rise := l.knee.rise(u)
			amps += c.size * part
			slope += c.size * rise / c.span
		}
	}
	return amps, slope
}

// pixels is how the pixels of a plant differ from what its run file states.
type pixels struct {
	Knee    Knee
	Scale   float64            // factor on all channels' currents
	Channel map[string]float64 // factor on one channel's current
	Idle    float64            // factor on the idle current
	Shift   float64            // V, of forward voltages and knees
	Span    float64            // factor on the volts from forward voltage to knee
}

func drawPixels(rated float64, rng *rand.Rand) pixels {
	p := pixels{Knee: Knee(rng.IntN(int(knees))), Scale: about(rng, 0.06), Idle: about(rng, 0.25),
		Shift: 0.015 * rated * between(rng, -1, 1), Span: about(rng, 0.15), Channel: map[string]float64{}}
	for _, name := range []string{"red", "green", "blue", "white"} {
		p.Channel[name] = about(rng, 0.02)
	}
	return p
}

// law returns the current of a strip's pixels at the levels that the controller
// really sends.
func (p pixels) law(strip run.Strip, levels map[string]float64) *law {
	l := &law{driver: strip.Driver, knee: p.Knee, idle: strip.Idle * p.Idle,
		starting: 0.12 * strip.Volts, soft: 0.015 * strip.Volts}
	for _, c := range strip.Channels {
		level := levels[c.Name] * p.Scale * p.Channel[c.Name]
		if level == 0 {
			continue
		}
		x := channel{size: level * c.Amps, forward: c.Forward + p.Shift, span: (c.Knee - c.Forward) * p.Span}
		switch strip.Driver {
		case run.Resistor:
			x.size = level / c.Ohms
		case run.Regulated:
			x.size = level * c.Amps * strip.Volts
			x.forward, x.span = 0.75*c.Knee+p.Shift, 0.25*c.Knee*p.Span
		}
		l.channels = append(l.channels, x)
	}
	return l
}
