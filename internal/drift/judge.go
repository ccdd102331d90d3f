package drift

import (
	"math"
	"slices"

	"ohmkeep/internal/assessment"
	"ohmkeep/internal/control"
	"ohmkeep/internal/history"
	"ohmkeep/internal/run"
	"ohmkeep/internal/trend"
	"ohmkeep/internal/verdict"
)

const (
	fewestNights = 5       // of a stretch that is judged
	coverage     = 0.95    // of intervals
	z95          = 1.95996 // the normal quantile that goes with it
	year         = 365.25  // days
	warmPart     = 0.002   // of the wire, standard deviation of what normalising leaves over a season
	coldPart     = 0.0393  // the same without a temperature: copper within 10 K of what is assumed
	blind        = 0.025   // Ω: where smaller steps than this cannot be seen, nothing is proven
	blindPart    = 0.2     // or this part of the nominal, if it is more
)

// History judges all series of a State.
func (s *State) History(r *run.Run) *history.History {
	h := &history.History{Run: r, Last: moment(s.Last), Check: moment(s.Check)}
	for _, t := range s.chosen(r) {
		h.Series = append(h.Series, s.series(t))
	}
	return h
}

// chosen gives one series an element, in the order of the run: a feed's slope where
// it has one, else the step that knows the element best.
func (s *State) chosen(r *run.Run) []*track {
	best := map[[2]string]*track{}
	var keys [][2]string
	for _, t := range s.Tracks {
		key := [2]string{string(t.Kind), t.Name}
		if best[key] == nil {
			keys = append(keys, key)
		}
		if best[key] == nil || t.better(best[key]) {
			best[key] = t
		}
	}
	rank := func(key [2]string) int {
		switch assessment.Kind(key[0]) {
		case assessment.Feed:
			return r.FeedIndex(key[1])
		case assessment.Reel:
			return 1000 + 2*r.ReelIndex(key[1])
		case assessment.Joint:
			for _, j := range r.Joints {
				if j.Name == key[1] {
					return 1001 + 2*j.From
				}
			}
		}
		return 1 << 30
	}
	slices.SortStableFunc(keys, func(a, b [2]string) int { return rank(a) - rank(b) })
	var tracks []*track
	for _, key := range keys {
		tracks = append(tracks, best[key])
	}
	return tracks
}

// better tells which of two series of one element says more.
func (t *track) better(o *track) bool {
	n, m := t.valid(), o.valid()
	if (t.Step == "") != (o.Step == "") {
		if t.Step == "" {
			return n >= 10 && 4*n > m || m == 0
		}
		return !(m >= 10 && 4*m > n || n == 0)
	}
	if 2*n < m || 2*m < n {
		return n > m
	}
	return t.usualError() < o.usualError()
}

func (t *track) valid() (n int) {
	for i := range t.Points {
		if !t.Points[i].is(void) {
			n++
		}
	}
	return n
}

func (t *track) usualError() float64 {
	var e []float64
	for i := range t.Points {
		if !t.Points[i].is(void) {
			e = append(e, float64(t.Points[i].Error))
		}
	}
	return trend.Median(e)
}

// series judges one.
func (s *State) series(t *track) history.Series {
	x := history.Series{Kind: t.Kind, Name: t.Name, Rail: assessment.Loop, Ohms: math.NaN(), Low: 0, High: math.Inf(1),
		PerYear: math.NaN(), PerYearLow: math.Inf(-1), PerYearHigh: math.Inf(1), Limit: math.NaN()}
	if t.Limit > 0 {
		x.Limit = float64(t.Limit)
	}
	if n := len(t.Points); n > 0 {
		x.First, x.Last = moment(t.Points[0].At), moment(t.Points[n-1].At)
	}
	t.findEras()
	level := t.anchor()
	parts := t.refined()
	for i := range t.Points {
		p := &t.Points[i]
		if !p.is(void) {
			x.Nights = append(x.Nights, history.Night{Time: moment(p.At), Ohms: t.ohms(p) + level.by, Error: float64(p.Error), Apart: p.is(apart)})
			x.Warm = x.Warm || p.is(warm)
		}
	}
	for _, p := range parts {
		if n := len(p.points); n > 0 {
			x.Stretches = append(x.Stretches, history.Stretch{From: moment(p.points[0].At), To: moment(p.points[n-1].At),
				Begin: p.level + level.by, End: p.end + level.by})
		}
	}
	t.changes(&x, parts, level)
	last := parts[len(parts)-1]
	t.level(&x, last, level)
	t.rate(&x, last)
	s.verdict(t, &x, parts)
	forecast(&x, x.Verdict == history.Drifting)
	return x
}

// part is a stretch with its nights, its beginning worked out from all of them.
type part struct {
	stretch
	piece
	level, end float64 // Ω at its beginning and its end
}

// refined works out anew when each change began, from all nights on both its sides.
func (t *track) refined() []part {
	var parts []part
	for i, s := range t.Stretch {
		end := t.end(i)
		if n := len(parts); n > 0 && (s.Cause == stepped || s.Cause == ramped) {
			prior := &parts[n-1]
			if len(prior.points) >= before {
				s.At = t.began(prior, s, end)
				prior.piece = t.piece(prior.At, s.At)
			}
		}
		parts = append(parts, part{stretch: s, piece: t.piece(s.At, end)})
	}
	for i := range parts {
		parts[i].levels()
	}
	// A part without nights says nothing.
	return slices.DeleteFunc(parts, func(p part) bool { return len(p.points) == 0 && len(parts) > 1 })
}

// end is when a stretch ends.
func (t *track) end(i int) int64 {
	if i+1 < len(t.Stretch) {
		return t.Stretch[i+1].At
	}
	return forever
}

// began dates a change between the stretch before and its own nights.
func (t *track) began(prior *part, s stretch, end int64) int64 {
	p := t.piece(prior.At, end)
	if len(p.points) < before+2 {
		return s.At
	}
	step, bend := control.Best(p.x, p.y, p.w, prior.Sloped)
	c := step
	if s.Cause == ramped {
		c = bend
	}
	if c.Shape == control.None || c.At == 0 {
		return s.At
	}
	at := p.points[c.At].At
	if s.Cause == stepped {
		at = (p.points[c.At-1].At + at) / 2
	}
	if far := 30 * int64(86400); s.Cause == stepped && (at-s.At > far/6 || s.At-at > far/6) {
		return s.At // another change, not this one
	}
	return at
}

// levels works out the ends of a part.
func (p *part) levels() {
	n := len(p.points)
	if n == 0 {
		p.level, p.end = math.NaN(), math.NaN()
		return
	}
	if p.Sloped && n >= 3 {
		line := trend.LeastSquares(p.x, p.y, p.w)
		p.level, p.end = line.At(p.x[0]), line.At(p.x[n-1])
		return
	}
	p.level, p.end = trend.Mean(p.y), trend.Mean(p.y)
}

// anchored is what is known of the level that all nights of a series share.
type anchored struct {
	by       float64 // Ω to add to every night
	lowest   float64 // Ω, the least level of any stretch, without that
	shift    float64 // Ω, standard deviation of the levels
	positive bool    // the kind can be no less than nothing, and that matters
}

// anchor finds the level. Where no dark rounds tell what the sensors differ by, the
// level of a joint may come out below zero: what is known then is that no stretch can
// be below it.
func (t *track) anchor() anchored {
	a := anchored{lowest: math.Inf(1)}
	var shifts []float64
	for i := range t.Stretch {
		p := t.piece(t.Stretch[i].At, t.end(i))
		for k, q := range p.points {
			if k == 0 || k == len(p.points)-1 {
				shifts = append(shifts, t.shift(q))
			}
		}
		if len(p.y) >= before {
			a.lowest = math.Min(a.lowest, trend.Mean(p.y[:min(len(p.y), 30)]))
		}
	}
	a.shift = trend.Median(shifts)
	if math.IsInf(a.lowest, 1) || math.IsNaN(a.shift) {
		return anchored{lowest: math.NaN(), shift: math.Inf(1)}
	}
	if t.Kind == assessment.Joint && a.shift > 0 {
		a.positive = true
		a.by = positiveMean(a.lowest, a.shift) - a.lowest
	}
	return a
}

// positiveMean is the mean of a Gaussian that is known to be above zero.
func positiveMean(mean, deviation float64) float64 {
	at := mean / deviation
	if at < -6 {
		return deviation / -at // Mills's ratio far out
	}
	return mean + deviation*math.Exp(-at*at/2)/math.Sqrt(2*math.Pi)/(math.Erfc(-at/math.Sqrt2)/2)
}

// changes lists what was called.
func (t *track) changes(x *history.Series, parts []part, a anchored) {
	for i, p := range parts {
		var was *part
		if i > 0 {
			was = &parts[i-1]
		}
		switch p.Cause {
		case stepped, ramped:
			c := history.Change{Time: moment(p.At), Called: moment(p.Called), Shape: history.Step, After: p.level + a.by}
			if p.Cause == ramped {
				c.Shape, c.After = history.Ramp, p.end+a.by
				for k := i + 1; k < len(parts) && parts[k].Cause == levelled; k++ {
					c.After = parts[k].end + a.by
				}
			}
			c.Before = p.level + a.by
			if was != nil {
				c.Before = was.end + a.by
			}
			x.Changes = append(x.Changes, c)
		case replaced, noted, shifted:
			m := history.Mark{Time: moment(p.At), Text: p.Text, Before: math.NaN(), After: p.level + a.by}
			if was != nil {
				m.Before = was.end + a.by
			}
			x.Marks = append(x.Marks, m)
		}
	}
	for _, b := range t.Bursts {
		k := len(parts) - 1
		for k > 0 && parts[k].At > b.At {
			k--
		}
		level := parts[k].level + a.by
		x.Changes = append(x.Changes, history.Change{Time: moment(b.At), Called: moment(b.Called), Shape: history.Burst,
			Before: level, After: level + float64(b.Rise)})
	}
	slices.SortStableFunc(x.Changes, func(a, b history.Change) int { return a.Time.Compare(b.Time) })
}

// level tells the latest level and its interval.
func (t *track) level(x *history.Series, p part, a anchored) {
	n := len(p.points)
	if n == 0 || math.IsNaN(a.lowest) {
		return
	}
	random := p.deviation / math.Sqrt(float64(min(n, 30))) * 1.25
	if !x.Warm {
		random = math.Hypot(random, coldPart*t.Wire)
	}
	x.Ohms = math.Max(0, p.end+a.by)
	if !a.positive {
		half := z95 * math.Hypot(random, a.shift)
		x.Low, x.High = math.Max(0, x.Ohms-half), x.Ohms+half
		return
	}
	above := p.end - a.lowest
	low, high := verdict.Belief{Mean: a.lowest, Deviation: math.Hypot(random, a.shift)}.Interval(coverage)
	x.Low, x.High = math.Max(0, low+above-z95*random), high+above+z95*random
	x.Low, x.High = math.Min(x.Low, x.Ohms), math.Max(x.High, x.Ohms)
}

// mostPairs bounds the points of a trend, whose cost grows with their square.
const mostPairs = 365

// rate tells the trend of the latest part.
func (t *track) rate(x *history.Series, p part) {
	n := len(p.points)
	if n < 8 || p.x[n-1]-p.x[0] < 10 {
		return
	}
	every := (n + mostPairs - 1) / mostPairs
	var at, y []float64
	for i := 0; i+every <= n; i += every {
		at = append(at, trend.Median(p.x[i:i+every])/year)
		y = append(y, trend.Mean(p.y[i:i+every]))
	}
	slopes := trend.NewSlopes(at, y)
	x.PerYear = slopes.Median()
	rest := make([]float64, len(y))
	for i := range y {
		rest[i] = y[i] - x.PerYear*at[i]
	}
	k := trend.MannKendall(y).Inflated(trend.Inflation(rest))
	x.PerYearLow, x.PerYearHigh = slopes.Interval(k.Variance, z95)
	// What is common to neighbouring nights does not show in how they differ: half a count
	// of a sensor, a part of the wire that is not copper as stated, and, without a
	// temperature, the season.
	common := math.Hypot(p.deviation/2, t.slide(p.points[0], p.points[n-1]))
	if x.Warm {
		common = math.Hypot(common, warmPart*t.Wire)
	} else {
		common = math.Hypot(common, coldPart*t.Wire)
	}
	half := z95 * common / (at[len(at)-1] - at[0])
	x.PerYearLow, x.PerYearHigh = x.PerYearLow-half, x.PerYearHigh+half
}

// verdict says what the element does.
func (s *State) verdict(t *track, x *history.Series, parts []part) {
	last := parts[len(parts)-1]
	changed := false
	for _, p := range parts {
		switch p.Cause {
		case noted:
			changed = false
		case stepped, ramped:
			changed = true
		}
	}
	least, _ := s.least(t)
	seen := math.Sqrt(s.care().evidence/2) * last.deviation
	switch {
	case t.Bursting:
		x.Verdict = history.Intermittent
	case last.Sloped && last.Cause != shifted:
		x.Verdict = history.Drifting
	case changed:
		x.Verdict = history.Stepped
	case len(last.points) < fewestNights:
		x.Verdict, x.Why = history.Unproven, "too few nights"
	case seen > math.Max(blind, math.Max(least, blindPart*t.Nominal)):
		x.Verdict, x.Why = history.Unproven, "its current is too small to tell"
	default:
		x.Verdict = history.Steady
	}
}
