package estimate

import (
	"cmp"
	"math"
	"slices"

	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/verdict"
)

// intervalCoverage is the coverage of the interval at whose ends a distribution is computed.
const intervalCoverage = 0.95

// Distribution returns the probability distribution of the element, on its own scale. The likelihood
// is evaluated towards a value in ohms (per metre for a reel). Where that is no parabola, so is it at
// the ends of the 95 % interval, and the distribution follows the profile likelihood.
func (p *Profile) Distribution(ohms float64) verdict.Distribution {
	d := verdict.Distribution{Belief: p.x.Belief}
	if p.x.Open {
		return p.openDistribution(ohms)
	}
	base := p.base()
	raw, ok := p.raw()
	limit := base + min(max(p.x.Scale(ohms)-base, -VerdictSigmas*raw), VerdictSigmas*raw)
	if !ok || math.IsNaN(limit) || limit == base {
		return d
	}
	if _, parabolic := p.checkParabola(limit); parabolic {
		return d
	}
	low, high := d.Belief.Interval(intervalCoverage)
	d.Mean, d.Points = base, []verdict.Point{{Value: base, Normal: base}}
	for _, at := range []float64{limit, low, high} {
		if at > 0 && at != base {
			d.Points = append(d.Points, p.pointAt(at))
		}
	}
	if limit < base {
		p.End(intervalCoverage, true)
	}
	for _, f := range p.fits {
		if rise, _, ok := p.riseTo(f.value, nil); ok && f.value != base {
			d.Points = append(d.Points, p.point(f.value, rise))
		}
	}
	d.Points = monotone(d.Points, base)
	return d
}

// pointAt returns the point of the distribution near a value. Where no fit is possible, that value is
// as probable as the prior has it.
func (p *Profile) pointAt(value float64) verdict.Point {
	start, parabolic := p.checkParabola(value)
	if parabolic {
		return verdict.Point{Value: value, Normal: value}
	}
	for _, factor := range retryFactors {
		at := p.base() + factor*(value-p.base())
		if rise, _, ok := p.riseTo(at, start); ok && rise > 0 {
			return p.point(at, rise)
		}
	}
	return p.point(value, 0)
}

// point returns the point of the distribution at a value to which the sum of squares rises. No value
// is more probable than its prior has it.
func (p *Profile) point(value, rise float64) verdict.Point {
	raw, _ := p.raw()
	distance := math.Sqrt(math.Max(rise, 0)) * raw
	least := math.Abs(value-p.base()) * p.x.Belief.Deviation / math.Sqrt(p.est.PriorVariance(p.x.Row))
	return verdict.Point{Value: value, Normal: p.base() + math.Copysign(math.Max(distance, least), value-p.base())}
}

// monotone sorts points by value. On either side of the base none is more probable than one nearer
// to it.
func monotone(points []verdict.Point, base float64) []verdict.Point {
	slices.SortFunc(points, func(a, b verdict.Point) int { return cmp.Compare(a.Value, b.Value) })
	points = slices.CompactFunc(points, func(a, b verdict.Point) bool { return a.Value == b.Value })
	first := slices.IndexFunc(points, func(p verdict.Point) bool { return p.Value == base })
	for k := first + 1; k < len(points); k++ {
		points[k].Normal = math.Max(points[k].Normal, points[k-1].Normal)
	}
	for k := first - 1; k >= 0; k-- {
		points[k].Normal = math.Min(points[k].Normal, points[k+1].Normal)
	}
	return points
}

// openAccuracy is the accuracy of the sum of squares with an open conductor held at its limit.
const openAccuracy = 0.1

// openDistribution is that of an open conductor: the best value is open, and the sum of squares rises
// towards the lower end of its interval and a value in ohms.
func (p *Profile) openDistribution(ohms float64) verdict.Distribution {
	const open = prior.MaxTransformed
	d := verdict.Distribution{Belief: verdict.Belief{Mean: open, Deviation: 1}, Points: []verdict.Point{{Value: open, Normal: open}}}
	d.Points = append(d.Points, verdict.Point{Value: p.x.Scale(p.x.LowerBound), Normal: open - verdict.Coverage95})
	if at := p.x.Scale(ohms); at < open {
		e := p.est
		conducting := e.Assumptions.Releasing(p.x.resistance.Rails[0])
		if sum, _, ok := e.Model.SumHeldAt(conducting, p.x.resistance, at, openAccuracy, e.X); ok {
			sigmas := math.Sqrt(math.Max(sum-e.Sum, 0)) / e.Inflation
			d.Points = append(d.Points, verdict.Point{Value: at, Normal: open - sigmas})
		}
	}
	d.Points = monotone(d.Points, open)
	return d
}
