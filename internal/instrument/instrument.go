// Package instrument measures with the devices that profiles describe: meters that answer
// queries and boards that send by themselves, over a serial port or any other connection,
// and devices that the kernel reads.
//
// An Instrument is one device on one opened port. It does not open the port
// again after it was unplugged (port.ErrGone); a caller that wants that opens a new
// one. A sample that is not good is not a measured value. Times are those of the
// caller's clock.
package instrument

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"sync"
	"time"

	"ohmkeep/internal/instrument/hwmon"
	"ohmkeep/internal/instrument/modbus"
	"ohmkeep/internal/instrument/mqtt"
	"ohmkeep/internal/instrument/port"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// Channel is one quantity to query from a device.
type Channel struct {
	ID       string
	Quantity run.Quantity
}

// ErrAsked is wrapped by the error of Next on an instrument that only answers queries and was
// opened without Options.Channels.
var ErrAsked = errors.New("the instrument sends only in answer to a query")

// Ended reports whether an error means that the instrument will return no more samples: it
// is unplugged, stuck, closed, or was opened without channels to query.
func Ended(err error) bool {
	for _, last := range []error{port.ErrGone, port.ErrStuck, os.ErrClosed, ErrAsked} {
		if errors.Is(err, last) {
			return true
		}
	}
	return false
}

// Instrument is one opened device. Next and Measure are for one goroutine;
// Counters and Close for any.
type Instrument interface {
	// Identity returns the identity that the device reports, "" if none.
	Identity() string
	// Next waits for the next sample of a device that sends by itself, or queries the next of
	// Options.Channels in the order of the profile. It also returns samples that are not good.
	Next(ctx context.Context) (reading.Sample, error)
	// Measure returns one new sample of a channel: it queries a meter, whose channels have the
	// names that the caller gives them, or waits for the next line of a board. After a change of
	// function or range it waits until the meter has settled.
	Measure(ctx context.Context, channel string, q run.Quantity) (reading.Sample, error)
	Counters() Counters
	Close() error
}

// Scanner is an instrument that reads all its values at once, which is better than one after the
// other: they are of the same time.
type Scanner interface {
	// Scan reads every value once and passes the samples to Options.Log.
	Scan(ctx context.Context) error
}

// Options are the settings of an instrument other than its profile and path. The zero value
// is ready to use.
type Options struct {
	Clock func() time.Time   // nil: time.Now
	Log   func(Event)        // called with each line that is sent or received; nil: no log
	Conn  io.ReadWriteCloser // used in place of opening the path; nil: open it
	// Channels are those that Next queries on a device that only answers queries, and those of which a
	// handheld meter has to show the quantity; without any, every quantity is accepted.
	Channels []Channel
	// Shunts are the correct resistances in Ω by channel, where they differ from the profile's.
	Shunts map[string]float64
	// Sleep waits between queries; nil: by the system's timer.
	Sleep func(context.Context, time.Duration) error
	// Slave is the address of a Modbus slave, 1 to 247; Buses are the lines that several slaves share, nil:
	// no other slave is read by this program.
	Slave int
	Buses *modbus.Buses
	// PortOpened is called once the port of a slave is open, before the slave has answered; nil: it is not called.
	PortOpened func()
	// Topic is that below which a device publishes; Broker is the connection to the broker.
	Topic  string
	Broker *mqtt.Link
	Sysfs  string // where the kernel shows its devices; "": hwmon.System
}

// sleep waits until a time is over or ctx ends.
func sleep(ctx context.Context, d time.Duration) error {
	if d <= 0 {
		return ctx.Err()
	}
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// Counters count lines since the instrument was opened.
type Counters struct {
	Lines   uint64 // all received lines
	Bad     uint64 // not parsed, too long or cut off; not used
	Comment uint64
	Skipped uint64 // being sent when the port was opened
}

// EventKind is how a line was classified.
type EventKind string

const (
	Sent     EventKind = "sent"
	Answered EventKind = "answered" // a meter's answer
	Values   EventKind = "spoke"    // a board's line with values; a picture of a display
	Comment  EventKind = "comment"
	Skipped  EventKind = "skipped"
	Bad      EventKind = "bad"
	// Complained is an entry of a meter's error queue, in Reason; it is not counted as a line.
	Complained EventKind = "complained"
	// Changed is that another program or person set a meter to another function or range, in Reason.
	Changed EventKind = "changed"
)

// Event is one line on the wire. Text is as the device sent it, control
// characters included: quote it before showing it.
type Event struct {
	Time       time.Time
	Kind       EventKind
	Text       string
	Reason     string // of bad, skipped, complained and changed; of a picture that no channel is for
	Incomplete bool   // the line is incomplete; Reason is that of the port
	Samples    []reading.Sample
	// Done has to be called, where it is not nil, once it is known whether the samples of the line are safe on
	// disk; kept is also true for a line that is not wanted. Until then the sender keeps the line, and
	// after false it sends it again.
	Done func(kept bool)
}

// Open opens the device at a path. It returns when the device is ready: a meter has
// reported its identity, a board's port has settled and is read.
func Open(ctx context.Context, p *profile.Profile, path string, o Options) (Instrument, error) {
	if o.Clock == nil {
		o.Clock = time.Now
	}
	if o.Log == nil {
		o.Log = func(Event) {}
	}
	if o.Sleep == nil {
		o.Sleep = sleep
	}
	if o.Sysfs == "" {
		o.Sysfs = hwmon.System
	}
	if o.Buses == nil {
		o.Buses = &modbus.Buses{}
	}
	switch p.Kind {
	case profile.Hwmon:
		return openKernel(p, path, o)
	case profile.Modbus:
		return openSlave(ctx, p, path, o)
	case profile.MQTT:
		return openSubscriber(ctx, p, o)
	}
	for _, c := range o.Channels {
		if p.Kind == profile.SCPI && !p.Query.Asks(c.Quantity) {
			return nil, fmt.Errorf("profile %s does not say how to measure a %s", p.Name, c.Quantity)
		}
	}
	wire, err := connect(ctx, p, path, o)
	if err != nil {
		return nil, err
	}
	if p.Kind == profile.SCPI {
		return openMeter(ctx, p, wire, o)
	}
	if p.Kind == profile.Handheld {
		return &handheld{profile: p, wire: wire, options: o}, nil
	}
	return &board{profile: p, wire: wire, options: o}, nil
}

// tally is Counters that several goroutines may use.
type tally struct {
	mu sync.Mutex
	c  Counters
}

// add counts one line by its kind.
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
