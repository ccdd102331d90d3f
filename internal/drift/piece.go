package drift

import (
	"math"

	"ohmkeep/internal/numeric/trend"
)

// piece is the nights of one stretch as a fit wants them.
type piece struct {
	points    []*point
	x, y, w   []float64
	deviation float64 // Ω, of a usual night
}

// piece gathers the nights between two moments.
func (t *track) piece(from, to int64) piece {
	var p piece
	for i := range t.Points {
		q := &t.Points[i]
		if q.At >= from && q.At < to && !q.is(apart|void) {
			p.points = append(p.points, q)
		}
	}
	t.values(&p)
	return p
}

// values gives each night its value and its weight. What the sensors differ by is taken
// off the drop first, so that a night with another current does not look like one with
// another resistance. The weight follows from the night's own error, enlarged by how
// much neighbours really differ.
func (t *track) values(p *piece) {
	n := len(p.points)
	p.x, p.y, p.w = make([]float64, n), make([]float64, n), make([]float64, n)
	errors := make([]float64, n)
	amps := make([]float64, n)
	for i, q := range p.points {
		amps[i] = math.Abs(float64(q.Amps))
	}
	usualAmps := trend.Median(amps)
	for i, q := range p.points {
		p.x[i], p.y[i], errors[i] = q.days(), t.ohms(q), float64(q.Error)
		if t.Step != "" {
			errors[i] = math.Hypot(errors[i], t.shift(q)*math.Abs(1-amps[i]/usualAmps))
		}
	}
	var differ []float64
	for i := max(1, n-120); i < n; i++ {
		differ = append(differ, math.Abs(p.y[i]-p.y[i-1])/math.Sqrt2)
	}
	factor := 1.0
	if usual := trend.Median(errors); len(differ) >= 6 && usual > 0 {
		factor = max(1, 1.4826*trend.Median(differ)/usual)
	}
	for i, e := range errors {
		p.w[i] = 1 / (factor * factor * e * e)
	}
	p.deviation = factor * trend.Median(errors)
}

// ohms gives a night's resistance, its sensors' difference taken off where it is known.
func (t *track) ohms(q *point) float64 {
	if e := t.era(q.At); t.Step != "" && e.known {
		return t.Nominal + (float64(q.Drop)-e.offset)/float64(q.Amps)
	}
	return float64(q.Ohms)
}

// shift is the standard deviation of what a night's resistance shares with the others
// of the same sensors.
func (t *track) shift(q *point) float64 {
	if e := t.era(q.At); t.Step != "" && e.known {
		return math.Abs(e.wobble / float64(q.Amps))
	}
	return float64(q.Shift)
}

// era is what two sensors differ by as long as they are the same.
type era struct {
	from, to       int64
	known          bool
	offset, wobble float64 // V
}

// era gives the one that a moment lies in.
func (t *track) era(at int64) *era {
	for i := range t.eras {
		if e := &t.eras[i]; at >= e.from && at < e.to {
			return e
		}
	}
	return &era{}
}

// sharedGain is how far the difference of two sensors may change between a dark run and
// one in the check step, as a part of what all nights have in common: the gains act on
// volts that differ by a few percent only.
const sharedGain = 0.08

// findEras works out what the sensors differ by. In one night the drop in the check
// step and in the dark have the same resistance and other currents, which gives both.
func (t *track) findEras() {
	t.eras = t.eras[:0]
	if t.Step == "" {
		return
	}
	from := int64(math.MinInt64)
	for i := 0; i <= len(t.Stretch); i++ {
		if i < len(t.Stretch) && t.Stretch[i].Cause != replaced {
			continue
		}
		e := era{from: from, to: forever}
		if i < len(t.Stretch) {
			e.to = t.Stretch[i].At
		}
		from = e.to
		var offsets, wobbles, common []float64
		for k := range t.Points {
			q := &t.Points[k]
			more := float64(q.Amps - q.Idle)
			if q.At < e.from || q.At >= e.to || q.is(apart|void) || !(q.Offset == q.Offset) || math.Abs(more) < 0.5*math.Abs(float64(q.Amps)) {
				continue
			}
			offsets = append(offsets, (float64(q.Offset)*float64(q.Amps)-float64(q.Drop)*float64(q.Idle))/more)
			wobbles = append(wobbles, float64(q.Wobble)*math.Abs(float64(q.Amps)/more))
			common = append(common, float64(q.Shift)*math.Abs(float64(q.Amps)))
		}
		if n := len(offsets); n >= fewestNights {
			e.known = true
			e.offset = trend.Mean(offsets)
			e.wobble = math.Hypot(trend.Median(wobbles)/math.Sqrt(float64(min(n, 9))), sharedGain*trend.Median(common))
		}
		t.eras = append(t.eras, e)
	}
}

const forever = math.MaxInt64

// latest gives the nights of the last stretch.
func (t *track) latest() piece { return t.piece(t.Stretch[len(t.Stretch)-1].At, forever) }

// sloped tells whether the last stretch is a ramp.
func (t *track) sloped() bool { return t.Stretch[len(t.Stretch)-1].Sloped }
