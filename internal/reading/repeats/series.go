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
	current  window            // to which readings are still added
	closed   []window          // in the order of time
}

// add adds the next reading; count is the value of the last digit of its display.
func (s *series) add(x reading.Reading, count float64) {
	s.total++
	if len(s.first) < MaxSingle {
		s.first = append(s.first, x)
	} else if !s.known {
		// Without its step nothing is made of it: the newest few stand for all.
		s.first[(s.total-1)%MaxSingle] = x
	}
	if !s.known {
		return
	}
	if s.current.endsBefore(&x) {
		s.close()
	}
	s.current.kept, s.current.count = append(s.current.kept, x), math.Max(s.current.count, count)
}

// close ends the current window and discards windows that are too old.
func (s *series) close() {
	if len(s.current.kept) == 0 {
		return
	}
	w := s.current
	w.compute()
	s.current = window{}
	if !s.listRows && w.n >= perOutlier {
		s.current.kept, w.kept = w.kept[:0], nil
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
	if s.total <= MaxSingle || !s.known {
		return s.first
	}
	s.close()
	var list []reading.Reading // the newest first
	for end := len(s.closed); end > 0 && len(list) < MaxSingle; {
		begin := end - 1 // of a stretch without a gap
		for begin > 0 && s.closed[begin].first.Time.Sub(s.closed[begin-1].last) < Window {
			begin--
		}
		for _, w := range steadyWindows(s.closed[begin:end]) {
			list = append(list, w.readings()...)
		}
		end = begin
	}
	return list[:min(len(list), MaxSingle)]
}

// steadyWindows merges windows that follow each other and show the same. Of the merged ones
// it returns the newest that has half as many readings as the largest, or more, and those
// too small to show an outlier; the newest come first.
func steadyWindows(windows []window) []window {
	var parts []window
	for i := len(windows) - 1; i >= 0; i-- {
		if n := len(parts); n > 0 && sameLevel(&windows[i], &parts[n-1]) {
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

// sameLevel reports whether two windows show the same but for their scatter: their means
// differ by at most four standard deviations and half a count.
func sameLevel(a, b *window) bool {
	variance := a.variance()/float64(a.n) + b.variance()/float64(b.n)
	return math.Abs(a.mean-b.mean) <= 4*math.Sqrt(variance)+0.5*math.Max(a.count, b.count)
}
