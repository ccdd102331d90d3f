package estimate

import (
	"math"

	"ohmkeep/internal/fit/prior"
)

const (
	// maxEndFits is the largest number of fits in the search for one end of an interval. The search
	// ends within endTolerance of it, in standard deviations.
	maxEndFits   = 5
	endTolerance = 0.1
	// maxExpansion is the largest factor on the distance from the estimate between two trials.
	maxExpansion = 4.0
)

// IntervalEnd is Profile.End for a single question.
func (e *Estimate) IntervalEnd(i int, coverage float64, above bool) float64 {
	return e.Profile(i).End(coverage, above)
}

// End returns the lower or upper end of the element's interval with the given coverage, 0 to 1, on
// the element's own scale. Where the sum of squares is a parabola it is the end of the belief's
// interval. Otherwise it is the value at which the least sum of squares with the element held there
// is as high as that parabola at its end (profile likelihood; Venzon and Moolgavkar, Appl. Stat. 37
// (1988) 87). It is +Inf where the sum does not rise that much.
func (p *Profile) End(coverage float64, above bool) float64 {
	low, high := p.x.Belief.Interval(coverage)
	end := low
	if above {
		end = high
	}
	if _, ok := p.raw(); !ok || !above && end <= 0 {
		return end
	}
	start, parabolic := p.checkParabola(end)
	if parabolic {
		return end
	}
	if at, ok := p.searchEnd(end, math.Abs(end-p.base())/p.x.Belief.Deviation, start); ok {
		return at
	}
	return end
}

// searchEnd returns the value at which the square root of the rise of the sum of squares, over the
// inflation, equals wanted. It starts at first. ok is false where fits do not converge.
func (p *Profile) searchEnd(first, wanted float64, start []float64) (at float64, ok bool) {
	at = first
	base := p.base()
	inside, insideRoot := base, 0.0 // the last value inside the interval, and its root
	outside, outsideRoot := math.NaN(), 0.0
	for range maxEndFits {
		rise, near, converged := p.riseTo(at, start)
		if !converged {
			return 0, false
		}
		start = near
		sigmas := math.Sqrt(math.Max(rise, 0)) / p.est.Inflation
		if math.Abs(sigmas-wanted) < endTolerance {
			return at, true
		}
		if sigmas < wanted {
			inside, insideRoot = at, sigmas
		} else {
			outside, outsideRoot = at, sigmas
		}
		if math.IsNaN(outside) {
			factor := maxExpansion
			if sigmas > 0 {
				factor = min(max(wanted/sigmas, 1.2), maxExpansion)
			}
			at = base + (at-base)*factor
			if at <= 0 {
				return 0, true
			}
			if p.x.resistance.Transformed && at >= prior.MaxTransformed {
				return math.Inf(1), true
			}
			continue
		}
		// The root rises about linearly.
		at = inside + (outside-inside)*min(max((wanted-insideRoot)/(outsideRoot-insideRoot), 0.1), 0.9)
	}
	if math.IsNaN(outside) {
		return math.Inf(1), at > first
	}
	return outside, true
}
