package drift

import (
	"math"
	"slices"
	"time"

	"ohmkeep/internal/numeric/trend"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/result/verdict"
	"ohmkeep/internal/run"
)

const (
	fewestNights = 5    // of a stretch that is judged
	coverage     = 0.95 // of intervals
	z95          = verdict.Coverage95
	year         = 365.25     // days
	warmPart     = 0.002      // of the wire, standard deviation of what normalising leaves over a season
	coldPart     = 0.0393     // the same without a temperature: copper within 10 K of what is assumed
	stale        = 30 * 86400 // s without a night, while others have some, after which nothing is said to be steady
	blind        = 0.025      // Ω: where smaller steps than this do not show, nothing is proven
	blindPart    = 0.2        // or this part of the nominal, if it is more
	blindNights  = 10         // within which a step must show
)

// History judges all series of a State.
func (s *State) History(r *run.Run) *history.History {
	h := &history.History{Run: r, Last: moment(s.Last), Check: moment(s.Check)}
	for _, t := range s.chosen() {
		h.Series = append(h.Series, s.series(t))
	}
	h.Series = append(h.Series, s.unfollowed(r)...)
	slices.SortStableFunc(h.Series, func(a, b history.Series) int { return place(r, a.Kind, a.Name) - place(r, b.Kind, b.Name) })
	return h
}

// unfollowed gives what sensed places tell apart and no reading could be used for, with
// what is missing: a run is not well because nobody could look.
func (s *State) unfollowed(r *run.Run) (all []history.Series) {
	for _, e := range s.Sensed.Elements(r, s.Day) {
		if slices.ContainsFunc(s.Tracks, func(t *track) bool { return t.Kind == e.Kind && t.Name == e.Name }) {
			continue
		}
		x := unknown(e.Kind, e.Name)
		x.Verdict, x.Limit = history.Unproven, e.Limit
		switch any := func(f run.Feed) bool { return s.Sensed.Current(f.Name, s.Day) }; {
		case e.Feed >= 0 && !any(r.Feeds[e.Feed]):
			x.Why = "its current is not read"
		case !slices.ContainsFunc(r.Feeds, any):
			x.Why = "no feed's current is read"
		case s.Check == 0:
			x.Why = "no known step was seen"
		default:
			x.Why = "its drop was not read in a known step"
		}
		all = append(all, x)
	}
	return all
}

// unknown is a series of which nothing is known.
func unknown(kind run.Kind, name string) history.Series {
	return history.Series{Kind: kind, Name: name, Rail: run.Loop, Ohms: math.NaN(), Low: 0, High: math.Inf(1),
		PerYear: math.NaN(), PerYearLow: math.Inf(-1), PerYearHigh: math.Inf(1), Limit: math.NaN()}
}

// place sorts elements along the run: feeds, then joints and reels, then paths.
func place(r *run.Run, kind run.Kind, name string) int {
	switch kind {
	case run.KindFeed:
		return r.FeedIndex(name)
	case run.KindReel:
		return 1000 + 2*r.ReelIndex(name)
	case run.KindJoint:
		for _, j := range r.Joints {
			if j.Name == name {
				return 1001 + 2*j.From
			}
		}
	}
	return 1 << 30
}

// chosen gives one series an element: a feed's slope where it has one, else the step
// that knows the element best.
func (s *State) chosen() []*track {
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
	x := unknown(t.Kind, t.Name)
	if t.Limit > 0 {
		x.Limit = float64(t.Limit)
	}
	if n := len(t.Points); n > 0 {
		x.First, x.Last = moment(t.Points[0].At), moment(t.Points[n-1].At)
	}
	t.findDifferences()
	t.learnNoise()
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
	// A step of this size would be called within ten nights.
	seen := math.Sqrt(s.care().evidence/blindNights) * last.deviation
	switch {
	case t.Bursting:
		x.Verdict = history.Intermittent
	case last.Sloped && last.Cause != shifted:
		x.Verdict = history.Drifting
	case changed:
		x.Verdict = history.Stepped
	case len(last.points) < fewestNights, t.pairs < fewestPairs:
		x.Verdict, x.Why = history.Unproven, "too few nights"
	case s.Last-t.Points[len(t.Points)-1].At > stale:
		x.Verdict, x.Why = history.Unproven, "not followed since "+x.Last.Format(time.DateOnly)
	case seen > math.Max(blind, math.Max(least, blindPart*t.Nominal)):
		x.Verdict, x.Why = history.Unproven, "its current is too small to tell"
	default:
		x.Verdict = history.Steady
	}
}
