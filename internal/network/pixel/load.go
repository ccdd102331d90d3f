// Package pixel computes the current that one addressable pixel draws at a voltage and at
// the levels of a load step.
//
// The three drivers are the run file's: linear (a constant-current sink per
// channel that starves below its knee), resistor, and regulated (constant power
// per channel above its minimum voltage). How a channel's current falls between
// its knee and its forward voltage is in no datasheet; a cubic with zero slope at both ends
// is assumed here (common practice, no source), and an estimate must allow for other
// shapes. Currents at and below zero volts are zero. The package does not know where on a
// reel a pixel is, or its colour.
package pixel

import (
	"math"

	"ohmkeep/internal/run"
)

// Adjust is how the real pixels differ from what the run file states.
type Adjust struct {
	Scale   float64 // factor on every channel's current; 1 = as stated
	Idle    float64 // factor on the idle current; 1 = as stated
	Shift   float64 // V, added to every forward and knee voltage
	Stretch float64 // ln of the factor on the volts over which a channel falls, about their middle; 0 = as stated
	// Trend is the ln of the factor on every channel's current at the last reel of the run, by term of a
	// smooth change along it; see AtReel.
	Trend [TrendTerms]float64
	Shape Shape // how a channel's current falls below its knee
}

// Shape is how a channel's current falls between its knee and its forward voltage.
type Shape int

const (
	Cubic Shape = iota // with zero slope at both ends
	Ramp               // in a straight line, for simulated pixels that differ from the model of an estimate
)

// AsStated leaves the values of the run file unchanged.
var AsStated = Adjust{Scale: 1, Idle: 1}

// idleKnee is the fraction of the rated volts from which a pixel's own logic
// draws its full idle current (common practice, no source).
const idleKnee = 0.4

// A term is one current source of a pixel. Linear and idle: size, A, times the fall between
// forward and knee. Regulated: size, W, times the fall, over v. Resistor: size, S, times
// (v − forward).
type term struct {
	size          float64
	forward, knee float64 // V
	inverse       float64 // 1/(knee − forward)
	shape         Shape
	channel       int     // of the strip; the idle current has none
	rated         float64 // what the channel takes at level 1 and rated volts, in A or W
}

// MostChannels is how many channels a pixel can have.
const MostChannels = 4

// Load is the load law of one kind of pixel in one step: current as a function of voltage.
// The zero Load draws no current.
type Load struct {
	driver run.Driver
	terms  [MostChannels + 1]term // channels first, idle last
	n      int
	full   float64 // V, at and above it the current is total and constant; +Inf if never
	total  float64 // A
	scale  float64 // Adjust.Scale
	idle   float64 // Adjust.Idle
}

// New returns the load law of a strip's pixels at the levels of a step, by channel name,
// each a duty fraction from 0 to 1. Channels beyond the fourth are ignored; run files have at
// most four.
func New(strip run.Strip, levels map[string]float64, by Adjust) Load {
	l := Load{driver: strip.Driver, scale: by.Scale, idle: by.Idle}
	for i, c := range strip.Channels[:min(len(strip.Channels), MostChannels)] {
		level := levels[c.Name] * by.Scale
		if level == 0 {
			continue
		}
		t := term{forward: c.Forward + by.Shift, knee: c.Knee + by.Shift, shape: by.Shape, channel: i, rated: c.Amps}
		switch strip.Driver {
		case run.Linear:
			t.size = level * c.Amps
		case run.Regulated:
			t.rated = c.Amps * strip.Volts
			t.size = level * t.rated
			t.forward = regulatedOff*c.Knee + by.Shift
		case run.Resistor:
			t.size = level / c.Ohms
		}
		if strip.Driver != run.Resistor && by.Stretch != 0 {
			middle, half := (t.forward+t.knee)/2, (t.knee-t.forward)/2*math.Exp(by.Stretch)
			t.forward, t.knee = middle-half, middle+half
		}
		t.inverse = 1 / math.Max(t.knee-t.forward, 1e-3)
		l.add(t)
	}
	rest := term{size: strip.Idle * by.Idle, knee: idleKnee * strip.Volts}
	rest.inverse = 1 / rest.knee
	l.terms[l.n] = rest
	l.full, l.total = rest.knee, rest.size
	for _, t := range l.terms[:l.n] {
		l.full = math.Max(l.full, t.knee)
		l.total += t.size
		if strip.Driver != run.Linear {
			l.full = math.Inf(1)
		}
	}
	return l
}

// regulatedOff is the fraction of its minimum voltage below which a regulated channel
// is off (common practice, no source; datasheets do not state the law between).
const regulatedOff = 0.8

func (l *Load) add(t term) {
	l.terms[l.n] = t
	l.n++
}

// Full returns the voltage at and above which the current does not depend on the
// voltage, V; +Inf for drivers without such a region.
func (l *Load) Full() float64 { return l.full }

// Total returns the current at and above Full, A.
func (l *Load) Total() float64 { return l.total }

// Current returns the pixel's current in amperes at v volts, and its slope in siemens.
func (l *Load) Current(v float64) (amps, slope float64) {
	if v >= l.full {
		return l.total, 0
	}
	return l.below(v)
}

// below is Current for voltages below Full.
func (l *Load) below(v float64) (amps, slope float64) {
	if v <= 0 {
		return 0, 0
	}
	for i := range l.n {
		a, g := l.channel(&l.terms[i], v)
		amps += a
		slope += g
	}
	a, g := l.terms[l.n].fall(v)
	return amps + a, slope + g
}

// channel returns the current, A, and slope, S, of one channel.
func (l *Load) channel(t *term, v float64) (amps, slope float64) {
	switch l.driver {
	case run.Resistor:
		if v <= t.forward {
			return 0, 0
		}
		return t.size * (v - t.forward), t.size
	case run.Regulated:
		w, dw := t.fall(v)
		return w / v, dw/v - w/(v*v)
	}
	return t.fall(v)
}

// fall returns size × (3u²−2u³), or size × u for a ramp, with u = (v − forward)/(knee −
// forward) limited to 0 to 1; and its slope per V.
func (t *term) fall(v float64) (value, slope float64) {
	u := (v - t.forward) * t.inverse
	if u >= 1 {
		return t.size, 0
	}
	if u <= 0 {
		return 0, 0
	}
	if t.shape == Ramp {
		return t.size * u, t.size * t.inverse
	}
	return t.size * u * u * (3 - 2*u), t.size * 6 * u * (1 - u) * t.inverse
}

// Partials returns the derivatives of the current at v volts with respect to the
// four figures of Adjust: A per unit of Scale, A per unit of Idle, A per volt of Shift, A
// per unit of Stretch.
func (l *Load) Partials(v float64) (scale, idle, shift, stretch float64) {
	if v <= 0 {
		return 0, 0, 0, 0
	}
	for i := range l.n {
		t := &l.terms[i]
		a, g := l.channel(t, v)
		scale += a
		if l.driver == run.Regulated {
			_, g = t.fall(v)
			g /= v
		}
		shift -= g
		if l.driver != run.Resistor {
			stretch += g * ((t.forward+t.knee)/2 - v)
		}
	}
	if l.scale != 0 {
		scale /= l.scale
	}
	idle, _ = l.terms[l.n].fall(v)
	if l.idle != 0 {
		idle /= l.idle
	}
	return scale, idle, shift, stretch
}
