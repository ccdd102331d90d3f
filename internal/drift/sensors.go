package drift

import (
	"math"

	"ohmkeep/internal/numeric/trend"
	"ohmkeep/internal/run"
)

// maxCauseDifference is the greatest difference of two changes in V that have one cause, as a part of the
// larger.
const maxCauseDifference = 0.35

// isSensors reports whether a jump is caused by a sensor and not by the element. A sensor whose gain
// has changed shifts the drops on its two sides by the same voltage, and it shifts a drop at no
// current as much as in the check step. A resistance does neither.
func (s *State) isSensors(t *track, p *piece, k int) bool {
	if t.Step == "" {
		return false // an offset does not change a slope
	}
	at := (p.points[k-1].At + p.points[k].At) / 2
	from := p.points[max(0, k-30)].At
	drop, _ := shiftOf(t, from, at, func(q *point) (float64, float64) { return float64(q.Drop), 1e-4 })
	if math.IsNaN(drop) {
		return false
	}
	offset, wobble := shiftOf(t, from, at, func(q *point) (float64, float64) { return float64(q.Offset), float64(q.OffsetError) })
	if math.Abs(offset) > 4*wobble && agree(offset, drop) {
		return true
	}
	for _, o := range s.Tracks {
		if o == t || o.Kind == t.Kind && o.Name == t.Name {
			continue
		}
		for _, shared := range []string{t.From, t.To} {
			if o.From != shared && o.To != shared {
				continue
			}
			read := func(q *point) (float64, float64) { return float64(q.Drop), 1e-4 }
			if o.Step == "" {
				read = func(q *point) (float64, float64) { return float64(q.Offset), float64(q.OffsetError) }
			}
			other, wobble := shiftOf(o, from, at, read)
			if math.Abs(other) > max(4*wobble, 0.0015) && agree(side(o, shared)*other, side(t, shared)*drop) {
				return true
			}
		}
	}
	return false
}

// side is the sign of a place's potential in the drop of a series.
func side(t *track, place string) float64 {
	if t.From == place {
		return 1
	}
	return -1
}

func agree(a, b float64) bool {
	return math.Abs(a-b) < maxCauseDifference*max(math.Abs(a), math.Abs(b))
}

// shiftOf returns the change of a figure's median at a moment, and its standard deviation; NaN
// where the figure is not known on both sides.
func shiftOf(t *track, from, at int64, read func(*point) (value, deviation float64)) (shift, deviation float64) {
	var was, is, dWas, dIs []float64
	for i := range t.Points {
		q := &t.Points[i]
		v, d := read(q)
		if q.At < from || v != v || d != d {
			continue
		}
		if q.At < at {
			was, dWas = append(was, v), append(dWas, d)
		} else {
			is, dIs = append(is, v), append(dIs, d)
		}
	}
	if len(was) < 2 || len(is) == 0 {
		return math.NaN(), math.NaN()
	}
	one := func(v, d []float64) float64 {
		return 1.25 * max(trend.Median(d), trend.Spread(v)) / math.Sqrt(float64(len(v)))
	}
	return trend.Median(is) - trend.Median(was), math.Hypot(one(was, dWas), one(is, dIs))
}

// maxCauseSeconds is the greatest time, s, between two changes that can have one cause.
const maxCauseSeconds = 12 * 86400

// currentMoved reports whether a change in a run fed from several sides is only the effect of
// another change. A bad contact in one conductor moves current to the other side of the ring in that
// conductor alone. Plus and minus then carry different currents, and a loop's drop over the
// measured current of one of them changes although no resistance has. Copper shows this in either
// direction, a feed only as a fall.
func (s *State) currentMoved(t *track, at int64, rises bool) bool {
	if !t.sharesCurrent(rises) {
		return false
	}
	for _, o := range s.Tracks {
		if !o.Ring || o.Kind == t.Kind && o.Name == t.Name || o.Kind != run.KindJoint && o.Kind != run.KindFeed {
			continue
		}
		for i, x := range o.Stretch {
			if x.Cause != jumped && x.Cause != ramped {
				continue
			}
			if at >= x.At-maxCauseSeconds && (at <= x.At+maxCauseSeconds || x.Sloped && at <= o.end(i)) || x.Sloped && i == len(o.Stretch)-1 {
				return true
			}
		}
	}
	return false
}

// sharesCurrent reports whether a series can show the effect of another's change.
func (t *track) sharesCurrent(rises bool) bool {
	return t.Ring && t.Kind != run.KindJoint && !(t.Kind == run.KindFeed && rises)
}
