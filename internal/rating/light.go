package rating

import (
	"math"

	"ohmkeep/internal/pixel"
	"ohmkeep/internal/run"
)

// light is what one kind of pixel shows of a colour, against what it shows at its
// rated volts.
type light struct {
	channels []emitter
	u, v     float64 // chromaticity at full voltage, CIE 1976
	whole    float64 // luminance then
	full     float64 // V, from here up nothing changes; +Inf where something always does
}

// emitter is one channel: its current's law and the light at its full current.
type emitter struct {
	load    pixel.Load
	power   bool // light follows the power rather than the current
	full    float64
	x, y, z float64
}

// primaries are the chromaticity (CIE 1931) and the relative luminance of usual
// channels where no run file says otherwise (common practice, no source).
var primaries = map[string][3]float64{
	"red": {0.69, 0.31, 0.25}, "green": {0.18, 0.72, 0.65}, "blue": {0.14, 0.05, 0.10}, "white": {0.37, 0.37, 1.5},
}

// newLight works out a strip's light of a colour at a level.
func newLight(strip run.Strip, step run.Step, by pixel.Adjust) light {
	l := light{}
	alone := strip
	alone.Idle = 0
	for _, c := range strip.Channels {
		if step.Levels[c.Name] == 0 {
			continue
		}
		alone.Channels = []run.Channel{c}
		e := emitter{load: pixel.New(alone, step.Levels, by), power: strip.Driver == run.Regulated}
		e.full = e.strength(strip.Volts)
		p := primaries[c.Name]
		bright := p[2] * step.Levels[c.Name]
		e.x, e.y, e.z = p[0]/p[1]*bright, bright, (1-p[0]-p[1])/p[1]*bright
		l.channels = append(l.channels, e)
		l.full = math.Max(l.full, e.load.Full())
	}
	l.u, l.v, l.whole = l.at(strip.Volts)
	return l
}

func (e *emitter) strength(volts float64) float64 {
	amps, _ := e.load.Current(volts)
	if e.power {
		return amps * volts
	}
	return amps
}

// at gives chromaticity and luminance at so many volts.
func (l *light) at(volts float64) (u, v, luminance float64) {
	var x, y, z float64
	for i := range l.channels {
		e := &l.channels[i]
		if e.full == 0 {
			continue
		}
		part := e.strength(volts) / e.full
		x, y, z = x+part*e.x, y+part*e.y, z+part*e.z
	}
	sum := x + 15*y + 3*z
	if sum == 0 {
		return math.NaN(), math.NaN(), 0
	}
	return 4 * x / sum, 9 * y / sum, y
}

// off tells how far the light is from that at full voltage: the distance in u′v′,
// and the part of the luminance that is lost, below zero where there is more. A
// pixel that shows next to nothing has no colour: all its light is lost.
func (l *light) off(volts float64) (shift, lost float64) {
	if volts >= l.full || l.whole == 0 {
		return 0, 0
	}
	u, v, luminance := l.at(volts)
	lost = 1 - luminance/l.whole
	if lost > 0.999 {
		return darkShift, 1
	}
	return math.Hypot(u-l.u, v-l.v), lost
}

// darkShift stands for the distance of a light that has gone out: no two colours
// are further apart.
const darkShift = 0.65
