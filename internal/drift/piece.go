package drift

import (
	"math"

	"ohmkeep/internal/numeric/trend"
)

// piece holds the nights of one stretch as the arrays that a fit needs.
type piece struct {
	points    []*point
	x, y, w   []float64
	deviation float64 // Ω, of a usual night
}

// forever is the end of the latest stretch.
const forever = math.MaxInt64

// piece collects the nights between two moments.
func (t *track) piece(from, to int64) piece {
	var p piece
	for i := range t.Points {
		q := &t.Points[i]
		if q.At >= from && q.At < to && !q.is(outlier|noValue) {
			p.points = append(p.points, q)
		}
	}
	t.values(&p)
	return p
}

// values returns the value and the weight of each night. It first subtracts the sensors' difference
// from the drop, so that a change of the current does not look like a change of the resistance. The
// weight follows from the night's own standard deviation, multiplied by the noise of the series.
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
			errors[i] = math.Hypot(errors[i], t.commonError(q)*math.Abs(1-amps[i]/usualAmps))
		}
		errors[i] *= t.noise
		p.w[i] = 1 / (errors[i] * errors[i])
	}
	p.deviation = trend.Median(errors)
}

const (
	// noiseNights is the greatest number of nights from which the noise of a series is computed,
	// and fewestPairs the least number of pairs of neighbours. Before, no change is reported,
	// because the usual scatter of the nights is not known.
	noiseNights = 120
	fewestPairs = 8
)

// learnNoise computes the ratio of the scatter between neighbouring nights to their own standard
// deviations, at least 1. It is increased a little where it rests on few nights. Pairs with a
// change between them do not count.
func (t *track) learnNoise() {
	var differ []float64
	var last *point
	for i := max(0, len(t.Points)-noiseNights); i < len(t.Points); i++ {
		q := &t.Points[i]
		if q.is(outlier | noValue) {
			continue
		}
		if last != nil && t.stretchOf(last.At) == t.stretchOf(q.At) {
			differ = append(differ, math.Abs(t.ohms(q)-t.ohms(last))/math.Hypot(float64(q.Error), float64(last.Error)))
		}
		last = q
	}
	t.pairs, t.noise = len(differ), 1
	if n := float64(len(differ)); n > 0 {
		t.noise = max(1, 1.4826*trend.Median(differ)*(1+3/n))
	}
}

// ohms returns the resistance of a night, corrected by the sensors' difference where it is known.
func (t *track) ohms(q *point) float64 {
	if q.sensors.known {
		return t.Nominal + (float64(q.Drop)-q.sensors.offset)/float64(q.Amps)
	}
	return float64(q.Ohms)
}

// commonError is the standard deviation of the error that a night's resistance shares with the
// other nights of the same sensors.
func (t *track) commonError(q *point) float64 {
	if q.sensors.known {
		return math.Abs(q.sensors.deviation / float64(q.Amps))
	}
	return float64(q.CommonError)
}

// latest returns the nights of the last stretch.
func (t *track) latest() piece { return t.piece(t.Stretch[len(t.Stretch)-1].At, forever) }

// sloped reports whether the last stretch is a ramp.
func (t *track) sloped() bool { return t.Stretch[len(t.Stretch)-1].Sloped }
