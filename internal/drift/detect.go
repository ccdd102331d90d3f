package drift

import (
	"math"

	"ohmkeep/internal/numeric/changepoint"
	"ohmkeep/internal/numeric/trend"
)

// detect evaluates a series after a night and returns the shapes of changes that it shows for the
// first time.
func (s *State) detect(t *track) (calls []string) {
	t.findDifferences()
	t.learnNoise()
	s.markOutliers(t)
	if t.detectBursts() {
		calls = append(calls, "intermittent")
	}
	p := t.latest()
	n := len(p.points)
	last := &t.Stretch[len(t.Stretch)-1]
	if n <= nightsBefore+1 || t.pairs < fewestPairs || !last.Sloped && !p.mayHaveChanged() {
		return calls
	}
	null := changepoint.Null(p.x, p.y, p.w, last.Sloped)
	if math.IsInf(null, 1) {
		return calls
	}
	jump, bend := changepoint.Best(p.x, p.y, p.w, last.Sloped)
	if !last.Sloped && bend.At < nightsBefore { // a ramp from its first night on
		bend.At = 0
	}
	isJump, isRamp := s.isJump(t, &p, jump, null), s.isRamp(t, &p, bend, null)
	switch {
	case isJump && jump.Rest+shapeEvidence < bend.Rest:
		return append(calls, s.beginJump(t, &p, jump)...)
	case isRamp && (bend.Rest+shapeEvidence < jump.Rest || p.x[n-1]-p.x[bend.At] > 60 && bend.Rest < jump.Rest):
		return append(calls, s.beginRamp(t, &p, bend)...)
	}
	return calls
}

// mayHaveChanged reports whether a level stretch may contain a change.
func (p *piece) mayHaveChanged() bool {
	target := trend.Median(p.y[:min(len(p.y), 30)])
	cusum := changepoint.Cusum{Slack: gateSlackSigmas, Limit: gateSumSigmas}
	slow := changepoint.Ewma{Weight: gateAverageWeight, Width: gateAverageSigmas}
	exceeded := false
	for i, y := range p.y {
		z := (y - target) * math.Sqrt(p.w[i])
		exceeded = cusum.Add(z) || exceeded
		exceeded = slow.Add(z) || exceeded
	}
	return exceeded
}

// residualScatter is the scatter of the nights of a piece about a fitted change.
type residualScatter struct {
	spread    float64 // standard deviation of a night
	inflation float64 // ≥ 1: factor of the variance for autocorrelation
	nights    float64 // number of nights that determine the change of the level
	more      float64 // ≥ 1: scatter of all nights over that of neighbouring nights
}

func (p *piece) beside(c changepoint.Course, sloped bool) residualScatter {
	rest := make([]float64, len(p.y))
	for i, y := range p.y {
		rest[i] = y
		switch {
		case i < c.At:
		case c.Shape == changepoint.Jump:
			rest[i] -= c.Size
		default:
			rest[i] -= c.Size * (p.x[i] - p.x[c.At])
		}
	}
	slope := 0.0
	if sloped {
		slope = trend.LeastSquares(p.x, rest, p.w).Slope
	}
	for i := range rest {
		rest[i] -= slope * (p.x[i] - p.x[0])
	}
	b := residualScatter{spread: trend.Spread(rest), inflation: trend.Inflation(rest)}
	n, m := float64(c.At), float64(len(rest)-c.At)
	b.nights = n * m / (n + m) / b.inflation
	b.more = max(1, b.spread/p.deviation)
	return b
}

// isSignificant reports whether a change is significant against the scatter about it. size is in Ω;
// evidence is its reduction of the weighted sum of squares, and needed the least reduction. In an
// autocorrelated series some jump or slope always fits, but is not significant.
func (b residualScatter) isSignificant(size, evidence, needed float64) bool {
	return evidence >= needed*b.inflation*b.more*b.more && math.Abs(size) >= changeSigmas*b.spread*min(1, math.Sqrt(averagingNights/b.nights))
}

// isJump reports whether a jump meets all conditions for reporting it. null is the weighted sum of
// squares without a change.
func (s *State) isJump(t *track, p *piece, c changepoint.Course, null float64) bool {
	if c.Shape != changepoint.Jump || null-c.Rest < s.limits().evidence || c.At < nightsBefore || len(p.points)-c.At < t.nightsToHold(c.Size > 0) {
		return false
	}
	least, _ := s.least(t)
	least += 3 * t.currentError(p.points[c.At-1], p.points[len(p.points)-1])
	if math.Abs(c.Size) < least {
		return false
	}
	if !p.beside(c, t.sloped()).isSignificant(c.Size, null-c.Rest, s.limits().evidence) {
		return false
	}
	// All of the last nights must be near the new level.
	level := trend.Median(p.y[c.At:])
	old := trend.Median(p.y[max(0, c.At-30):c.At])
	size := level - old
	if math.Abs(size) < least || math.Abs(size-c.Size) > 0.5*math.Abs(c.Size) {
		return false // its size comes from one or two nights
	}
	for i := max(c.At+1, len(p.y)-4); i < len(p.y); i++ {
		if off := math.Abs(p.y[i] - level); off > max(0.35*math.Abs(size), 3.5/math.Sqrt(p.w[i])) || off > 0.7*math.Abs(size) {
			return false
		}
	}
	return true
}

// nightsToHold is the number of nights that a new level must hold. It is larger for a contact that has
// failed and recovered before, and for a change that may be the effect of another one, so that the
// other one is reported first.
func (t *track) nightsToHold(rises bool) int {
	newest := t.Points[len(t.Points)-1].Day
	for _, p := range t.Points {
		if newest-p.Day <= 45 && (p.is(outlier) || p.Bursts > 0) {
			return 5
		}
	}
	if t.sharesCurrent(rises) {
		return 4
	}
	return 2
}

// isRamp reports whether a ramp meets all conditions for reporting it.
func (s *State) isRamp(t *track, p *piece, c changepoint.Course, null float64) bool {
	n := len(p.points)
	if c.Shape != changepoint.Bend || null-c.Rest < s.limits().evidence || n-c.At < rampNights {
		return false
	}
	_, least := s.least(t)
	long := p.x[n-1] - p.x[c.At]
	if long < rampDays || math.Abs(c.Size)*long < least+3*t.currentError(p.points[c.At], p.points[n-1]) {
		return false
	}
	return p.beside(c, t.sloped()).isSignificant(c.Size*long, null-c.Rest, s.limits().evidence)
}

// currentError is the standard deviation of an apparent change of resistance between two nights
// with different currents: the uncertainty of the sensors' difference has more effect at a smaller
// current.
func (t *track) currentError(a, b *point) float64 {
	if t.Step == "" {
		return 0
	}
	return t.commonError(a) * math.Abs(1-float64(a.Amps)/float64(b.Amps))
}
