package recorder

import (
	"context"
	"errors"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/watch/machine"
)

// Store stores what is recorded.
type Store interface {
	// Keep stores all of a batch or nothing. When it returns without an error, the batch is
	// safe on disk. An error that wraps ErrRefused means that trying again is useless; after
	// any other error the recorder tries again.
	Keep(ctx context.Context, b Batch) error
}

// ErrRefused is wrapped by the error of a Store for a batch that it can never store.
var ErrRefused = errors.New("the store refuses a reading")

// Batch is what one commit stores, in order of arrival.
type Batch struct {
	Readings []reading.Recorded
	Marks    []Mark
	kept     []func(kept bool) // called when all is stored
}

// Kind is what a Mark marks.
type Kind string

const (
	Started   Kind = "started"   // the program began to record
	Stopped   Kind = "stopped"   // … and ended in good order
	Lost      Kind = "lost"      // a probe was unplugged, hung up or fell silent: a gap begins
	Found     Kind = "found"     // … and sends again: the gap that began at Since ends
	Restarted Kind = "restarted" // a board restarted without being unplugged
	Faulty    Kind = "faulty"    // the instrument reports a fault of a channel instead of its value
	Dropped   Kind = "dropped"   // readings were lost: the queue was full
	Clock     Kind = "clock"     // the dates have changed or become uncertain
	Stalled   Kind = "stalled"   // the program did not run for a while
	Changed   Kind = "changed"   // the run file was read again

	Announced Kind = "announced" // a controller or a person announced the step that the run shows
)

// Mark is something that happened between readings.
type Mark struct {
	Run   string
	Kind  Kind
	Probe string // "" = it concerns all
	Text  string
	Stamp machine.Stamp
	Since machine.Stamp // of Found
}

// Mark queues a mark with the present time; probe may be "".
func (r *Recorder) Mark(kind Kind, probe, text string) {
	r.MarkAt(r.o.Clock.Now(), kind, probe, text)
}

// MarkAt queues a mark with another time.
func (r *Recorder) MarkAt(at machine.Stamp, kind Kind, probe, text string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.mark(at, kind, probe, text)
}

func (r *Recorder) mark(at machine.Stamp, kind Kind, probe, text string) {
	r.add(Mark{Run: r.plan.Run.Name, Kind: kind, Probe: probe, Text: text, Stamp: at})
}

func (r *Recorder) add(m Mark) {
	if r.queue.addMark(m) {
		r.wakeWriter()
	}
}

// wakeWriter makes the writer check the queue.
func (r *Recorder) wakeWriter() {
	select {
	case r.wake <- struct{}{}:
	default:
	}
}
