package recorder

import (
	"fmt"
	"time"

	"ohmkeep/internal/reading"
)

const (
	// stallLimit is how long the recorder may not have run before lines that waited
	// meanwhile are not dated when they are read.
	stallLimit = 3 * time.Second
	// backlogBegins is how soon after a stall the first line that waited is read, …
	backlogBegins = 500 * time.Millisecond
	// … backlogPause the pause in reading after which all have been read, …
	backlogPause = 50 * time.Millisecond
	// … and backlogEnds the same for a board that never pauses.
	backlogEnds = 2 * time.Second
	// stallMarks is how often at most a stall is marked.
	stallMarks = 10 * time.Minute
)

// stall is a time in which the program did not run: it was stopped, or the machine slept or
// had no processor for it. Both ends are since boot.
type stall struct{ from, to time.Duration }

// alive notes that the recorder runs at a moment; r.mu is held.
func (r *Recorder) alive(now time.Duration) {
	if r.ran > 0 && now-r.ran > stallLimit {
		r.stall = stall{r.ran, now}
		r.o.Log.Warn("the watch did not run", "for", (now - r.ran).Round(time.Second))
		if more, ok := r.stallMarks.let(now); ok {
			r.mark(r.o.Clock.At(now), Stalled, "", fmt.Sprintf("the watch did not run for %v%s", (now-r.ran).Round(time.Second), more))
		}
	}
	r.ran = max(r.ran, now)
}

// waitingLine is a line that waited to be read while the program did not run.
type waitingLine struct {
	read    time.Duration // since boot
	samples []reading.Sample
}

// waited reports whether a line that is read now waited during a stall; r.mu is held.
func (p *device) waited(since time.Duration) bool {
	s := p.r.stall
	if s.to == 0 || s == p.recovered || since <= s.from {
		return false
	}
	begins := len(p.late) == 0 && since-s.to <= backlogBegins
	goes := len(p.late) > 0 && since-p.late[len(p.late)-1].read <= backlogPause && since-s.to <= backlogEnds
	if !begins && !goes {
		p.recovered = s
	}
	return begins || goes
}

// settleLate queues the lines that waited during a stall. Where the board gives its values
// regularly, and as many came as the stall is long, their dates follow; otherwise they are
// dated when they were read, and uncertain. r.mu is held.
func (p *device) settleLate() {
	late := p.late
	if len(late) == 0 {
		return
	}
	p.late, p.recovered = nil, p.r.stall
	w := p.wiring.Load()
	counts := map[*channel]int{}
	for _, l := range late {
		if c := w.first(l.samples); c != nil {
			counts[c]++
		}
	}
	spacing := map[*channel]time.Duration{} // of the values of each channel; 0 = not known
	begun := map[*channel]time.Duration{}
	regular := true
	for c, n := range counts {
		spacing[c] = c.rhythm.fill(n, p.r.stall.to)
		begun[c] = c.rhythm.last
		regular = regular && spacing[c] > 0
	}
	done := map[*channel]int{}
	for _, l := range late {
		c := w.first(l.samples)
		if c == nil || !regular {
			p.put(l.read, l.samples, reading.ClockUncertain)
			continue
		}
		done[c]++
		p.put(min(begun[c]+time.Duration(done[c])*spacing[c], l.read), l.samples, reading.Good)
	}
	how := "dated by the board's regular interval"
	if !regular {
		how = fmt.Sprintf("dated when they were read, at most %v late; their dates are uncertain", (p.r.stall.to - p.r.stall.from).Round(time.Second))
	}
	p.r.o.Log.Warn("lines have waited", "probe", p.name, "lines", len(late), "are", how)
	if more, ok := p.stalls.let(p.r.stall.to); ok {
		p.r.mark(p.r.o.Clock.At(p.r.stall.to), Stalled, p.name, fmt.Sprintf("%d lines that waited meanwhile are %s%s", len(late), how, more))
	}
}

// first returns the channel of the first sample of a line that has a place; nil: none has.
func (w *wiring) first(samples []reading.Sample) *channel {
	for _, s := range samples {
		if c := w.channels[key{s.Channel, s.Quantity}]; c != nil {
			return c
		}
	}
	return nil
}

// rhythm is the interval at which a channel sends values. The means are smoothed with the gains of
// RFC 6298, section 2 (from memory).
type rhythm struct {
	n             int           // values without a gap between them
	last          time.Duration // since boot, of the newest
	every, jitter time.Duration // mean interval, and its mean deviation
}

// steadyAfter is the number of values after which an interval is used.
const steadyAfter = 8

func (r *rhythm) note(at time.Duration) {
	d := at - r.last
	r.last = at
	switch {
	case r.n == 0 || r.n > 1 && d > 4*r.every: // the first, or after a gap
		r.n = 1
		return
	case r.n == 1:
		r.every, r.jitter = d, d/2
	default:
		r.jitter += ((d - r.every).Abs() - r.jitter) / 4
		r.every += (d - r.every) / 8
	}
	r.n++
}

// fill returns the spacing of n values that came between the newest and a moment; 0 where
// the interval is not regular or gives another number of values.
func (r *rhythm) fill(n int, until time.Duration) time.Duration {
	span := until - r.last
	if r.n < steadyAfter || r.jitter > r.every/4 || (time.Duration(n)*r.every-span).Abs() > r.every*3/2+span/50 {
		return 0
	}
	return time.Duration(float64(span) / (float64(n) + 0.5)) // the next value comes half an interval later, on average
}
