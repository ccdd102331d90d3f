package drift

import (
	"math"
	"slices"
	"time"

	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run"
	"ohmkeep/internal/verdict"
)

const (
	fewestNights     = 5    // least number of nights of a stretch for a verdict
	coverage         = 0.95 // of intervals
	z95              = verdict.Coverage95
	year             = 365.25     // days in a year
	seasonPart       = 0.009      // standard deviation, as a part of the wire's resistance, of the seasonal error that normalising leaves: see below
	seasonPartUnread = 0.0393     // the same without a temperature: copper within 10 K of the assumed one
	maxUnreadSeconds = 30 * 86400 // s without a night of an element, while others have nights, after which it is not reported as steady
	maxUnseen        = 0.025      // Ω: if the least detectable jump is larger, the element is unproven
	maxUnseenPart    = 0.2        // or this part of the nominal resistance, if that is more
	unseenNights     = 10         // nights within which that jump must be detected
)

// warmPart: a thermometer beside the copper may follow the weather by up to a third less than the
// copper does. Of seasons of ±12 K that leaves up to ±1.6 % of a wire, evenly distributed (common
// practice, no source).

// History returns the verdicts on all series of a State.
func (s *State) History(r *run.Run) *history.History {
	h := &history.History{Run: r, Last: moment(s.Last), Check: moment(s.Check)}
	for _, t := range s.chosen() {
		h.Series = append(h.Series, s.series(t))
	}
	h.Series = append(h.Series, s.unfollowed(r)...)
	h.Series = s.noted(r, h.Series)
	slices.SortStableFunc(h.Series, func(a, b history.Series) int { return place(r, a.Kind, a.Name) - place(r, b.Kind, b.Name) })
	return h
}

// unfollowed returns the elements between sensed places that have no series, with what is missing.
// They are unproven.
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

// unknown returns a series without any known value.
func unknown(kind run.Kind, name string) history.Series {
	return history.Series{Kind: kind, Name: name, Rail: run.Loop, Ohms: math.NaN(), Low: 0, High: math.Inf(1),
		PerYear: math.NaN(), PerYearLow: math.Inf(-1), PerYearHigh: math.Inf(1), Limit: math.NaN()}
}

// series returns the verdict on a series.
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
		if !p.is(noValue) {
			x.Nights = append(x.Nights, history.Night{Time: moment(p.At), Ohms: t.ohms(p) + level.by, Error: float64(p.Error), Outlier: p.is(outlier)})
			x.TemperatureRead = x.TemperatureRead || p.is(temperatureRead)
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

// verdict returns the verdict on an element.
func (s *State) verdict(t *track, x *history.Series, parts []part) {
	last := parts[len(parts)-1]
	changed := false
	for _, p := range parts {
		switch p.Cause {
		case noted:
			changed = false
		case jumped, ramped:
			changed = true
		}
	}
	least, _ := s.least(t)
	// A jump of this size would be called within ten nights.
	seen := math.Sqrt(s.limits().evidence/unseenNights) * last.deviation
	switch {
	case t.Bursting:
		x.Verdict = history.Intermittent
	case last.Sloped && last.Cause != shifted:
		x.Verdict = history.Drifting
	case changed:
		x.Verdict = history.Jumped
	case len(last.points) < fewestNights, t.pairs < fewestPairs:
		x.Verdict, x.Why = history.Unproven, "too few nights"
	case s.Last-t.Points[len(t.Points)-1].At > maxUnreadSeconds:
		x.Verdict, x.Why = history.Unproven, "not followed since "+x.Last.Format(time.DateOnly)
	case seen > math.Max(maxUnseen, math.Max(least, maxUnseenPart*t.Nominal)):
		x.Verdict, x.Why = history.Unproven, "its current is too small to show a jump of its resistance"
	default:
		x.Verdict = history.Steady
	}
}
