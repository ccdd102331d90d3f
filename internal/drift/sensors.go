package drift

import (
	"math"

	"ohmkeep/internal/numeric/trend"
	"ohmkeep/internal/run"
)

// agreement is how well two changes in volts must agree to have one cause.
const agreement = 0.35

// sensors reports whether a step is a sensor's and not the element's. A sensor whose
// gain has changed shifts the drops on its two sides by the same volts, and it shifts
// a drop at no current as much as in the step; a resistance does neither.
func (s *State) sensors(t *track, p *piece, k int) bool {
	if t.Step == "" {
		return false // a slope does not see it
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

// side is how a place's potential counts in a series' drop.
func side(t *track, place string) float64 {
	if t.From == place {
		return 1
	}
	return -1
}

func agree(a, b float64) bool { return math.Abs(a-b) < agreement*max(math.Abs(a), math.Abs(b)) }

// shiftOf returns how much a figure's median changes at a moment, and its deviation;
// NaN where it is not known on both sides.
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

// sameCause is how far apart in time, s, two changes may be found to have one cause.
const sameCause = 12 * 86400

// currentMoved reports whether a change in a run that is fed from several sides is only the
// shadow of another. A contact that goes bad in one conductor drives current into the
// other way round in that conductor alone; where plus and minus then carry different
// currents, a loop's drop over the measured current of one of them changes, although
// no resistance has. Copper shows it in either direction, a feed only downwards.
func (s *State) currentMoved(t *track, at int64, rises bool) bool {
	if !t.sharesCurrent(rises) {
		return false
	}
	for _, o := range s.Tracks {
		if !o.Ring || o.Kind == t.Kind && o.Name == t.Name || o.Kind != run.KindJoint && o.Kind != run.KindFeed {
			continue
		}
		for i, x := range o.Stretch {
			if x.Cause != stepped && x.Cause != ramped {
				continue
			}
			if at >= x.At-sameCause && (at <= x.At+sameCause || x.Sloped && at <= o.end(i)) || x.Sloped && i == len(o.Stretch)-1 {
				return true
			}
		}
	}
	return false
}

// sharesCurrent reports whether a series can show the shadow of another's change.
func (t *track) sharesCurrent(rises bool) bool {
	return t.Ring && t.Kind != run.KindJoint && !(t.Kind == run.KindFeed && rises)
}
