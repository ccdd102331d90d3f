package drift

import (
	"ohmkeep/internal/numeric/trend"
	"ohmkeep/internal/run"
)

// place returns the position of an element in the order of the run: feeds, then joints and reels,
// then paths.
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

// chosen returns one series for each element, the one that better ranks first.
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

// better reports whether one series of an element is preferred to another one of it: a feed's slope
// with enough nights, else the series with far more nights, else the one with the smaller usual
// error.
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
		if !t.Points[i].is(noValue) {
			n++
		}
	}
	return n
}

func (t *track) usualError() float64 {
	var e []float64
	for i := range t.Points {
		if !t.Points[i].is(noValue) {
			e = append(e, float64(t.Points[i].Error))
		}
	}
	return trend.Median(e)
}
