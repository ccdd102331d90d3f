package recorder

import (
	"fmt"
	"time"

	"ohmkeep/internal/reading"
)

const (
	// stallLimit is the longest interruption of the recorder after which lines are still dated
	// by the time at which they are read.
	stallLimit = 3 * time.Second
	// backlogBegins is the longest time from the end of a stall to the first waiting line, …
	backlogBegins = 500 * time.Millisecond
	// … backlogPause the pause that shows that all waiting lines were read, …
	backlogPause = 50 * time.Millisecond
	// … and backlogEnds the longest time from the end of a stall to the last waiting line, for a
	// board that never pauses.
	backlogEnds = 2 * time.Second
	// stallMarks is the shortest interval between two marks of stalls.
	stallMarks = 10 * time.Minute
)

// stall is a period in which the program did not run: it was stopped, or the machine slept or
// was overloaded. Both ends are since boot.
type stall struct{ from, to time.Duration }

// noteRunning records that the recorder runs at a time since boot, and a stall if it has not run
// for longer than stallLimit; r.mu is held.
func (r *Recorder) noteRunning(now time.Duration) {
	if r.lastRun > 0 && now-r.lastRun > stallLimit {
		r.stall = stall{r.lastRun, now}
		r.o.Log.Warn("the watch did not run", "for", (now - r.lastRun).Round(time.Second))
		if more, ok := r.stallMarks.allow(now); ok {
			r.mark(r.o.Clock.At(now), Stalled, "", fmt.Sprintf("the watch did not run for %v%s", (now-r.lastRun).Round(time.Second), more))
		}
	}
	r.lastRun = max(r.lastRun, now)
}

// waitingLine is a line that waited to be read while the program did not run.
type waitingLine struct {
	read    time.Duration // when it was read, since boot
	samples []reading.Sample
	done    func(kept bool) // of its event; may be nil
}

// wasWaiting reports whether a line that is read now waited during a stall; r.mu is held.
func (p *device) wasWaiting(since time.Duration) bool {
	s := p.r.stall
	if s.to == 0 || s == p.recovered || since <= s.from {
		return false
	}
	begins := len(p.waitingLines) == 0 && since-s.to <= backlogBegins
	goes := len(p.waitingLines) > 0 && since-p.waitingLines[len(p.waitingLines)-1].read <= backlogPause && since-s.to <= backlogEnds
	if !begins && !goes {
		p.recovered = s
	}
	return begins || goes
}

// queueWaitingLines queues the lines that waited during a stall. If the board sends its values at
// a regular interval and the number of lines agrees with the length of the stall, they are dated
// by that interval; otherwise by the time at which they were read, as uncertain. r.mu is held.
func (p *device) queueWaitingLines() {
	late := p.waitingLines
	if len(late) == 0 {
		return
	}
	p.waitingLines, p.recovered = nil, p.r.stall
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
		spacing[c] = c.interval.spacing(n, p.r.stall.to)
		begun[c] = c.interval.last
		regular = regular && spacing[c] > 0
	}
	done := map[*channel]int{}
	for _, l := range late {
		c := w.first(l.samples)
		if c == nil || !regular {
			p.put(l.read, l.samples, reading.ClockUncertain, l.done)
			continue
		}
		done[c]++
		p.put(min(begun[c]+time.Duration(done[c])*spacing[c], l.read), l.samples, reading.Good, l.done)
	}
	how := "dated by the board's regular interval"
	if !regular {
		how = fmt.Sprintf("dated when they were read, at most %v late; their dates are uncertain", (p.r.stall.to - p.r.stall.from).Round(time.Second))
	}
	p.r.o.Log.Warn("lines waited while the watch did not run", "probe", p.name, "lines", len(late), "are", how)
	if more, ok := p.stalls.allow(p.r.stall.to); ok {
		p.r.mark(p.r.o.Clock.At(p.r.stall.to), Stalled, p.name, fmt.Sprintf("%d lines that waited meanwhile are %s%s", len(late), how, more))
	}
}

// first returns the channel of the first sample of a line that has a place in the run; nil if
// none has.
func (w *wiring) first(samples []reading.Sample) *channel {
	for _, s := range samples {
		if c := w.channels[key{s.Channel, s.Quantity}]; c != nil {
			return c
		}
	}
	return nil
}

// sendInterval is the interval at which a channel sends values. Mean and mean deviation are
// exponentially smoothed with the gains of RFC 6298, section 2 (from memory).
type sendInterval struct {
	n            int           // values without a gap between them
	last         time.Duration // when the newest value arrived, since boot
	mean, jitter time.Duration // mean interval and its mean deviation
}

// minRegularValues is the number of values without a gap that is needed to use the interval.
const minRegularValues = 8

func (r *sendInterval) note(at time.Duration) {
	d := at - r.last
	r.last = at
	switch {
	case r.n == 0 || r.n > 1 && d > 4*r.mean: // the first, or after a gap
		r.n = 1
		return
	case r.n == 1:
		r.mean, r.jitter = d, d/2
	default:
		r.jitter += ((d - r.mean).Abs() - r.jitter) / 4
		r.mean += (d - r.mean) / 8
	}
	r.n++
}

// spacing returns the interval of n values that arrived between the newest value and until; 0 if
// the interval is not regular or n does not agree with it.
func (r *sendInterval) spacing(n int, until time.Duration) time.Duration {
	span := until - r.last
	if r.n < minRegularValues || r.jitter > r.mean/4 || (time.Duration(n)*r.mean-span).Abs() > r.mean*3/2+span/50 {
		return 0
	}
	return time.Duration(float64(span) / (float64(n) + 0.5)) // the next value comes half an interval later, on average
}
