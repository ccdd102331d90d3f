// Package light computes the light that a pixel gives at a voltage: the sum of the
// tristimulus values of its channels, and the distance of its colour from that at full
// voltage.
//
// A channel's light is taken as proportional to pixel.Load.Drive and its chromaticity as
// fixed. The small change of an LED's wavelength and efficacy with current and temperature
// is neglected. Full voltage is the strip's rated voltage. The package does not know where
// on a reel a pixel is.
package light

import (
	"math"

	"ohmkeep/internal/network/pixel"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/colour"
)

// Emitter is the light of one kind of pixel in one step. The zero Emitter is dark.
type Emitter struct {
	load      pixel.Load
	primaries [pixel.MostChannels]colour.XYZ
	flat      float64    // V, at and above it the light is that at full voltage; +Inf if never
	full      colour.XYZ // at full voltage
	fullAt    colour.UV  // its chromaticity
	last      colour.UV  // chromaticity at the lowest voltage that gives light
}

// Output is the light of a pixel at a voltage, compared with that at full voltage.
type Output struct {
	Light colour.XYZ
	Shift float64 // Δu'v' from the chromaticity at full voltage; without light, that at the lowest voltage that gives light
	Part  float64 // luminance as a part of that at full voltage; 1 where the step is dark
}

// Dimming returns the part of the luminance at full voltage that is lost, 0 to 1.
func (s Output) Dimming() float64 { return math.Max(0, 1-s.Part) }

// New returns the emitter of a strip's pixels at the levels of a step, by channel name.
func New(strip run.Strip, levels map[string]float64, by pixel.Adjust) Emitter {
	l := Emitter{load: pixel.New(strip, levels, by), flat: math.Inf(1)}
	lowest, highest := math.Inf(1), 0.0
	for i, c := range strip.Channels[:min(len(strip.Channels), pixel.MostChannels)] {
		l.primaries[i] = c.Light
		if levels[c.Name] > 0 {
			begins := c.Forward
			if strip.Driver == run.Regulated {
				begins = c.Knee / 2 // a regulated channel is off below pixel's regulatedOff, which is higher
			}
			lowest = math.Min(lowest, begins+by.Shift)
			highest = math.Max(highest, c.Knee+by.Shift)
		}
	}
	if strip.Driver != run.Resistor && highest <= strip.Volts {
		l.flat = highest
	}
	l.full = l.at(strip.Volts)
	l.fullAt = l.full.UV()
	l.last = l.fullAt
	for v := math.Max(lowest, 0); v < strip.Volts && l.full.Y > 0; v += strip.Volts / 1000 {
		if faint := l.at(v); faint.Y > 0 {
			l.last = faint.UV()
			break
		}
	}
	return l
}

// Emitters returns the emitter of each reel's pixels in a step.
func Emitters(r *run.Run, step run.Step, by pixel.Adjust) []Emitter {
	emitters := make([]Emitter, len(r.Reels))
	for i, reel := range r.Reels {
		emitters[i] = New(reel.Strip, step.Levels, by.AtReel(i, len(r.Reels)))
	}
	return emitters
}

// Full returns the light at full voltage.
func (l *Emitter) Full() colour.XYZ { return l.full }

// Dark reports whether the step lights no channel of these pixels.
func (l *Emitter) Dark() bool { return !(l.full.Y > 0) }

// At returns the light at v volts.
func (l *Emitter) At(v float64) colour.XYZ {
	if v >= l.flat {
		return l.full
	}
	return l.at(v)
}

func (l *Emitter) at(v float64) colour.XYZ {
	var sum colour.XYZ
	for i, part := range l.load.Drive(v) {
		sum = sum.Plus(l.primaries[i].Times(part))
	}
	return sum
}

// Output returns the light at v volts, compared with that at full voltage.
func (l *Emitter) Output(v float64) Output {
	switch {
	case l.Dark():
		return Output{Part: 1}
	case v >= l.flat:
		return Output{Light: l.full, Part: 1}
	}
	s := Output{Light: l.at(v)}
	s.Part = s.Light.Y / l.full.Y
	at := l.last
	if s.Light.Y > 0 {
		at = s.Light.UV()
	}
	s.Shift = at.Distance(l.fullAt)
	return s
}

// Flat returns the voltage at and above which the light is that at full voltage, V; +Inf
// where the light always depends on the voltage (resistors), or still does at full voltage.
func (l *Emitter) Flat() float64 { return l.flat }
