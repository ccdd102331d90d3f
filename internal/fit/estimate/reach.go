package estimate

import (
	"math"

	"ohmkeep/internal/fit/prior"
)

const (
	// reaches is how many fits a bound may cost, and near how close to it, in deviations, one
	// may end.
	reaches = 5
	near    = 0.1
	// outward is by how much at the most the next value lies further out than the last.
	outward = 4.0
)

// Reach is where the interval of element i that holds the given probability ends, on its
// own scale, below the estimate or above it. Where the sum of squares is a parabola it is
// the belief's. Where it is none, the end is sought where the least sum of squares with the
// element held there has risen by as much as a parabola's would (the likelihood ratio; Venzon
// and Moolgavkar, Appl. Stat. 37 (1988) 87). It is +Inf where that is nowhere.
func (e *Estimate) IntervalEnd(i int, coverage float64, above bool) float64 {
	x := &e.Elements[i]
	low, high := x.Belief.Interval(coverage)
	end := low
	if above {
		end = high
	}
	raw := x.Belief.Deviation / e.Inflation
	if x.Open || !(raw > 0) || math.IsInf(raw, 1) || !above && end <= 0 {
		return end
	}
	defer e.restore()
	v, done := e.alone(x.Kind, x.Index)
	defer done()
	mean := math.Max(x.Belief.Mean, 0)
	start, straight := v.look(x, end)
	if straight {
		return end
	}
	deviations := math.Abs(end-mean) / x.Belief.Deviation
	if at, ok := v.sought(x, end, deviations, start); ok {
		return at
	}
	return end
}

// sought finds where the root of the sum of squares' rise is that of so many deviations,
// from a first value on; false where fits do not settle.
func (e *Estimate) sought(x *Element, first, deviations float64, start []float64) (at float64, ok bool) {
	at = first
	inside, root := 0.0, 0.0 // the last value that lies within, and its root
	outside, beyond := math.NaN(), 0.0
	for range reaches {
		base, rise, settled := e.between(x, at, start)
		if settled {
			start = e.Problem.LastHeldX
		} else {
			base, rise, settled = e.beyond(x, at, start)
		}
		if !settled {
			return 0, false
		}
		now := math.Sqrt(math.Max(rise, 0)) / e.Inflation
		if math.Abs(now-deviations) < near {
			return at, true
		}
		if now < deviations {
			inside, root = at, now
		} else {
			outside, beyond = at, now
		}
		if root == 0 {
			inside = base
		}
		if math.IsNaN(outside) {
			by := outward
			if now > 0 {
				by = min(max(deviations/now, 1.2), outward)
			}
			at = base + (at-base)*by
			if at <= 0 {
				return 0, true
			}
			if x.transformed && at >= prior.MaxTransformed {
				return math.Inf(1), true
			}
			continue
		}
		// Roots rise about in a straight line.
		at = inside + (outside-inside)*min(max((deviations-root)/(beyond-root), 0.1), 0.9)
	}
	if math.IsNaN(outside) {
		return math.Inf(1), at > first
	}
	return outside, true
}
