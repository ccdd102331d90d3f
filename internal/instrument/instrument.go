// Package instrument measures with the devices that profiles describe: meters
// that are asked and boards that speak by themselves, over a serial port or any
// other connection.
//
// An Instrument is one device on one opened port. It does not open the port
// again after it was unplugged (port.ErrGone); whoever wants that opens a new
// one. A Sample that is not Good must never become a reading. Times come from
// the caller's clock.
package instrument

import (
	"context"
	"errors"
	"io"
	"sync"
	"time"

	"ohmkeep/internal/port"
	"ohmkeep/internal/profile"
	"ohmkeep/internal/run"
)

// Sample is one value that an instrument gave.
type Sample struct {
	Channel  string
	Quantity run.Quantity
	Value    float64 // V, A or °C; 0 where the sample is not good
	// Text and Unit are the value as a reading writes it: the device's own digits,
	// or for register counts the number that they stand for.
	Text, Unit string
	Raw        string // as sent
	Time       time.Time
	Fault      string // why the value means nothing, such as overload; "" = good
}

// Good tells whether the sample is a measurement.
func (s Sample) Good() bool { return s.Fault == "" }

// ErrAsked is inside the error of Next on an instrument that speaks only when asked.
var ErrAsked = errors.New("the instrument speaks only when it is asked")

// Instrument is one opened device. Next and Measure are for one goroutine;
// Counters and Close for any.
type Instrument interface {
	// Identity is what the device says it is, "" where it does not say.
	Identity() string
	// Next waits for the next sample of a device that speaks by itself.
	Next(ctx context.Context) (Sample, error)
	// Measure gives one new sample of a channel: it asks a meter, whose channels
	// are what the caller calls them, and waits for a board to say the next.
	Measure(ctx context.Context, channel string, q run.Quantity) (Sample, error)
	Counters() Counters
	Close() error
}

// Options are what an instrument needs beside its profile and path. The zero
// value is ready to use.
type Options struct {
	Clock func() time.Time   // nil: time.Now
	Log   func(Event)        // told everything that is sent and heard; nil: nobody
	Conn  io.ReadWriteCloser // used in place of opening the path; nil: open it
}

// Counters count lines since the instrument was opened.
type Counters struct {
	Lines   uint64 // all that were heard
	Bad     uint64 // not understood, too long or broken off; nothing of them is used
	Comment uint64
	Skipped uint64 // under way when the port was opened
}

// EventKind is what became of a line.
type EventKind string

const (
	Sent     EventKind = "sent"
	Answered EventKind = "answered" // a meter's answer
	Spoke    EventKind = "spoke"    // a board's line with values
	Comment  EventKind = "comment"
	Skipped  EventKind = "skipped"
	Bad      EventKind = "bad"
	// Complained is an entry of a meter's error queue, in Reason; it is no line of its own.
	Complained EventKind = "complained"
)

// Event is one line on the wire. Text is as the device sent it, control
// characters included: quote it before showing it.
type Event struct {
	Time    time.Time
	Kind    EventKind
	Text    string
	Reason  string // bad, skipped and complained: why
	Samples []Sample
}

// Open opens the device at a path. It returns when the device is ready: a meter
// has said who it is, a board's port has settled and is listened to.
func Open(ctx context.Context, p *profile.Profile, path string, o Options) (Instrument, error) {
	if o.Clock == nil {
		o.Clock = time.Now
	}
	if o.Log == nil {
		o.Log = func(Event) {}
	}
	var wire *port.Port
	if o.Conn != nil {
		wire = port.Over(o.Conn, p.Port.Terminator, o.Clock)
	} else {
		var err error
		if wire, err = port.Open(ctx, path, p.Port, o.Clock); err != nil {
			return nil, err
		}
	}
	if p.Kind == profile.SCPI {
		return openMeter(ctx, p, wire, o)
	}
	return &speaker{profile: p, wire: wire, options: o}, nil
}

// tally is Counters that several goroutines may use.
type tally struct {
	mu sync.Mutex
	c  Counters
}

// add counts one line by what became of it.
func (t *tally) add(kind EventKind) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.c.Lines++
	switch kind {
	case Bad:
		t.c.Bad++
	case Comment:
		t.c.Comment++
	case Skipped:
		t.c.Skipped++
	}
}

func (t *tally) Counters() Counters {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.c
}
