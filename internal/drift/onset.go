package drift

import (
	"math"

	"ohmkeep/internal/numeric/changepoint"
)

// onset is when a change began, s since 1970, and its 95 % interval; 0 = not known.
type onset struct{ at, earliest, latest int64 }

// onset computes when the change between a part and the stretch after it began, from all nights on
// both sides.
func (t *track) onset(prior *part, s stretch, end int64) onset {
	p := t.piece(prior.At, end)
	if len(p.points) < nightsBefore+2 {
		return onset{at: s.At}
	}
	shape := changepoint.Jump
	if s.Cause == ramped {
		shape = changepoint.Bend
	}
	courses := changepoint.Courses(p.x, p.y, p.w, shape, prior.Sloped)
	best := courses[0]
	for _, c := range courses {
		if c.Rest < best.Rest {
			best = c
		}
	}
	if best.At == 0 {
		return onset{at: s.At}
	}
	if shape == changepoint.Bend {
		return t.rampOnset(&p, courses, best, prior.Sloped)
	}
	at := (p.points[best.At-1].At + p.points[best.At].At) / 2
	if fiveDays := 5 * int64(86400); at-s.At > fiveDays || s.At-at > fiveDays {
		return onset{at: s.At} // the best fit found another change
	}
	first, last := p.plausible(courses, best, prior.Sloped)
	return onset{at, p.points[first-1].At, p.points[last].At}
}

// onsetEvidence is by how much the weighted sum of squares is larger at the ends of the date's 95 %
// interval: the quantile of chi-squared with one degree of freedom.
const onsetEvidence = z95 * z95

// plausible returns the first and the last night at which a change explains the nights nearly as
// well as at the best one. Autocorrelation and a scatter larger than that of neighbouring nights
// widen the range.
func (p *piece) plausible(courses []changepoint.Course, best changepoint.Course, sloped bool) (first, last int) {
	b := p.beside(best, sloped)
	limit := best.Rest + onsetEvidence*b.inflation*b.more*b.more
	first, last = best.At, best.At
	for k, c := range courses {
		if c.Rest <= limit {
			first, last = min(first, k), max(last, k)
		}
	}
	return first, last
}

// rampOnset returns the date of a ramp. Its interval ends at the nights beside the plausible ones,
// between which the ramp began. What normalising leaves of a wire's seasons looks like a slope and
// comes to it.
func (t *track) rampOnset(p *piece, courses []changepoint.Course, best changepoint.Course, sloped bool) onset {
	first, last := p.plausible(courses, best, sloped)
	at := p.x[best.At]
	before, after := at-p.x[max(0, first-1)], p.x[min(last+1, len(p.x)-1)]-at
	part := seasonPartUnread
	if p.points[best.At].is(temperatureRead) {
		part = seasonPart
	}
	season := z95 * part * t.Wire / math.Abs(best.Size)
	days := func(x float64) int64 { return int64(math.Round(x * 86400)) }
	return onset{p.points[best.At].At, days(at - math.Hypot(before, season)), days(at + math.Hypot(after, season))}
}
