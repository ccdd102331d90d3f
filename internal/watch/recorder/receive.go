package recorder

import (
	"strings"
	"time"

	"ohmkeep/internal/instrument"
	"ohmkeep/internal/reading"
)

// receive receives every line of the device when it arrives.
func (p *device) receive(e instrument.Event) {
	switch e.Kind {
	case instrument.Values:
		p.takeLine(e.Time, e.Samples, e.Done)
		return
	case instrument.Bad:
		p.r.mu.Lock()
		p.bad++
		p.totals.bad++
		p.lastLine = time.Duration(e.Time.UnixNano())
		p.r.mu.Unlock()
	case instrument.Comment:
		p.r.mu.Lock()
		p.lastLine = time.Duration(e.Time.UnixNano())
		p.comment(e.Text, p.r.o.Clock.At(p.lastLine))
		p.r.mu.Unlock()
	case instrument.Skipped:
		p.r.mu.Lock()
		p.totals.skipped++
		p.r.mu.Unlock()
	}
	if e.Done != nil {
		e.Done(true)
	}
}

// take receives the samples of one line or answer.
func (p *device) take(at time.Time, samples []reading.Sample) { p.takeLine(at, samples, nil) }

// takeLine receives the samples of one line. done is that of its event.
func (p *device) takeLine(at time.Time, samples []reading.Sample, done func(kept bool)) {
	since := time.Duration(at.UnixNano())
	p.r.mu.Lock()
	defer p.r.mu.Unlock()
	p.lastLine = since
	p.r.noteRunning(since)
	if p.wasWaiting(since) {
		p.waitingLines = append(p.waitingLines, waitingLine{since, samples, done})
		return
	}
	p.queueWaitingLines()
	p.put(since, samples, reading.Good, done)
}

// put queues the samples of one line that came at a moment since boot; r.mu is held. done, which may be
// nil, is called when they are safe on disk.
func (p *device) put(since time.Duration, samples []reading.Sample, date reading.Quality, done func(kept bool)) {
	r, w := p.r, p.wiring.Load()
	if done != nil {
		from := r.queue.added
		defer func() {
			if from == r.queue.added {
				done(true) // the run file has no channel of the line
			} else if r.queue.await(from, done) {
				r.wakeWriter()
			}
		}()
	}
	// Whole milliseconds are stored in few bytes. Lines of the same millisecond are dated 1 µs
	// apart, so that their order is kept.
	at := since.Truncate(time.Millisecond)
	if at <= p.lastValues {
		at = p.lastValues + time.Microsecond
	}
	p.lastValues = at
	first := w.first(samples)
	if first == nil { // the run file has no such channel
		p.bad++
		p.totals.bad++
		return
	}
	first.interval.note(since)
	p.noteFaults(w, samples, since)
	for _, s := range samples {
		if c := w.channels[key{s.Channel, s.Quantity}]; c != nil {
			s.Quality |= date
			r.take(w, c, s, since, at)
		}
	}
	p.good++
}

// take queues one sample of a channel that arrived at since and is dated at date, both since
// boot.
func (r *Recorder) take(w *wiring, c *channel, s reading.Sample, since, date time.Duration) {
	step, quality := r.steps.at(since)
	text := s.Text
	if !s.Quality.Measured() {
		text = s.Raw
	}
	if quality |= qualityOf(s, c); !quality.Measured() {
		c.unusable++
		c.probe.totals.unusable++
	}
	if c.quality = quality &^ reading.ClockUncertain; c.quality == reading.Good {
		c.last, c.dated, c.value, c.hasValue = since, date, s.Value, true
	}
	same := shared{c, w.run, step, s.Unit, s.Counts.PerCount}
	if c.shared == nil || *c.shared != same {
		same.unit = strings.Clone(same.unit) // so that the received line can be freed
		c.shared = &same
	}
	if r.queue.add(c.shared, r.o.Clock.At(date), text, s.Value, s.Counts.N, quality) {
		r.wakeWriter()
	}
}
