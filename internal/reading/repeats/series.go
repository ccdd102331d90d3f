package repeats

import (
	"math"
	"slices"

	"ohmkeep/internal/reading"
)

// series is what was read of one place in one step.
type series struct {
	place    place
	at       int  // in the gatherer's order
	known    bool // its step is
	listRows bool
	total    int               // readings so far
	first    []reading.Reading // the first few
	open     window            // to which readings are still added
	closed   []window          // in the order of time
}

// add adds the next reading; count is the value of the last digit of its display.
func (s *series) add(x reading.Reading, count float64) {
	s.total++
	if len(s.first) < Few {
		s.first = append(s.first, x)
	} else if !s.known {
		// Without its step nothing is made of it: the newest few stand for all.
		s.first[(s.total-1)%Few] = x
	}
	if !s.known {
		return
	}
	if s.open.full(&x) {
		s.close()
	}
	s.open.held, s.open.count = append(s.open.held, x), math.Max(s.open.count, count)
}

// close ends the current window and discards windows that are too old.
func (s *series) close() {
	if len(s.open.held) == 0 {
		return
	}
	w := s.open
	w.settle()
	s.open = window{}
	if !s.listRows && w.n >= perOutlier {
		s.open.held, w.held = w.held[:0], nil
	}
	s.closed = append(s.closed, w)
	horizon := w.last.Add(-Horizon)
	old := 0
	for s.closed[old].last.Before(horizon) {
		old++
	}
	s.closed = slices.Delete(s.closed, 0, old)
}

// readings returns what the series amounts to.
func (s *series) readings() []reading.Reading {
	if s.total <= Few || !s.known {
		return s.first
	}
	s.close()
	var list []reading.Reading // the newest first
	for end := len(s.closed); end > 0 && len(list) < Few; {
		begin := end - 1 // of a stretch without a gap
		for begin > 0 && s.closed[begin].first.Time.Sub(s.closed[begin-1].last) < Window {
			begin--
		}
		for _, w := range steadiest(s.closed[begin:end]) {
			list = append(list, w.readings()...)
		}
		end = begin
	}
	return list[:min(len(list), Few)]
}

// steadiest merges windows that follow each other and show the same. Of the merged ones
// it returns the newest that has half as many readings as the largest, or more, and those
// too small to show an outlier; the newest come first.
func steadiest(windows []window) []window {
	var parts []window
	for i := len(windows) - 1; i >= 0; i-- {
		if n := len(parts); n > 0 && steady(&windows[i], &parts[n-1]) {
			newer := parts[n-1]
			parts[n-1] = merged(&windows[i], &newer)
		} else {
			parts = append(parts, windows[i])
		}
	}
	largest := slices.MaxFunc(parts, func(a, b window) int { return a.n - b.n })
	newest := slices.IndexFunc(parts, func(w window) bool { return 2*w.n >= largest.n })
	var list []window
	for i, w := range parts {
		if i == newest || w.n < perOutlier {
			list = append(list, w)
		}
	}
	return list
}

// steady reports whether two windows show the same but for their scatter: their means
// differ by at most four standard deviations and half a count.
func steady(a, b *window) bool {
	variance := a.variance()/float64(a.n) + b.variance()/float64(b.n)
	return math.Abs(a.mean-b.mean) <= 4*math.Sqrt(variance)+0.5*math.Max(a.count, b.count)
}
