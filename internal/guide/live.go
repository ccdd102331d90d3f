package guide

import (
	"context"
	"errors"
	"fmt"
	"time"

	"ohmkeep/internal/assess/walk"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

func (p *probes) measure(ctx context.Context, n assessment.Next) (reading.Sample, error) {
	probe, c, _ := p.find(n.Quantity)
	x, err := probe.Device.Measure(ctx, c.ID, c.Quantity)
	if err != nil {
		return x, fmt.Errorf("probe %s: %w", probe.Name, err)
	}
	return x, nil
}

// Live is what the meter shows now.
type Live struct {
	On      bool   // a meter on a port measures what is asked
	Text    string // as displayed; "" = it shows no value
	Unit    string
	Settled bool
	Why     string // it is not settled
	reading reading.Reading
}

const (
	// settleTime is how long a display must be steady to count as settled, and settleSamples how many of its
	// values (common practice, no source).
	settleTime    = 900 * time.Millisecond
	settleSamples = 3
	// steadyCounts and steadyPart are how far the values may differ: counts of the display, and a part
	// of the value.
	steadyCounts = 2.0
	steadyPart   = 0.002
	// contactPart is the part of the supply's volts below which a pair voltage means that a lead touches
	// nothing: no pixel works there.
	contactPart = 0.1
)

// readLive reads the meter while a reading is asked for.
func (s *Session) readLive(ctx context.Context) {
	if s.config.Store != nil && s.source == nil {
		return
	}
	var at assessment.Next
	var number int
	var display settling
	for ctx.Err() == nil {
		changed, now := s.Changed(), s.Snapshot()
		n := now.Task.Read
		if !now.Ready || now.Task.Kind != walk.Measure || now.Walk.Paused() || s.source.meter(n.Quantity) == "" {
			if now.Live.On {
				s.update(func() { s.live = Live{} })
			}
			select {
			case <-changed:
			case <-ctx.Done():
			}
			continue
		}
		if at.Quantity != n.Quantity || at.From != n.From || at.To != n.To || at.Step != n.Step || number != now.Walk.Number() {
			display = display.next(at.Quantity == n.Quantity && (at.From != n.From || at.To != n.To))
			at, number = n, now.Walk.Number()
		}
		s.showLive(ctx, n, &display)
		select {
		case <-time.After(s.source.pause()):
		case <-ctx.Done():
		}
	}
}

// showLive measures once and shows it.
func (s *Session) showLive(ctx context.Context, n assessment.Next, display *settling) {
	silent := time.AfterFunc(Silence, func() { s.update(func() { s.live = Live{On: true, Why: s.Silent(n.Quantity)} }) })
	x, err := s.measure(ctx, n)
	silent.Stop()
	live := Live{On: true}
	if err != nil {
		live.Why = err.Error()
	} else {
		live.Text, live.Unit = x.Text, x.Unit
		live.reading = s.readingOf(x, n)
		live.Settled, live.Why = display.add(x, resolution(s.config.Run, live.reading.Meter, n.Quantity, x.Value), contactVolts(s.config.Run, n))
	}
	if ctx.Err() != nil {
		return
	}
	s.mu.Lock()
	same := s.live.On == live.On && s.live.Text == live.Text && s.live.Unit == live.Unit && s.live.Settled == live.Settled && s.live.Why == live.Why &&
		samePlace(s.live.reading, live.reading)
	if same {
		s.live = live
	}
	s.mu.Unlock()
	if !same {
		s.update(func() { s.live = live })
	}
	if err != nil {
		select {
		case <-time.After(time.Second): // the port may come back
		case <-ctx.Done():
		}
	}
}

// samePlace reports whether two readings are of the same quantity, place and step.
func samePlace(a, b reading.Reading) bool {
	return a.Quantity == b.Quantity && a.From == b.From && a.To == b.To && a.Step == b.Step
}

// measure measures with the live meter; one measurement at a time.
func (s *Session) measure(ctx context.Context, n assessment.Next) (reading.Sample, error) {
	if err := s.beginMeasuring(ctx); err != nil {
		return reading.Sample{}, err
	}
	defer s.endMeasuring()
	return s.source.measure(ctx, n)
}

// readingOf returns a sample as the reading of a place.
func (s *Session) readingOf(x reading.Sample, n assessment.Next) reading.Reading {
	r := x.Reading
	r.Step, r.From, r.To, r.Meter = n.Step, n.From, n.To, s.source.meter(n.Quantity)
	return r
}

// Measure takes one reading with the meter on the port, where the walk asks for it.
func (s *Session) Measure(ctx context.Context, n assessment.Next) (reading.Reading, error) {
	x, err := s.measure(ctx, n)
	if s.truth != nil { // the simulated leads have begun to travel there
		time.Sleep(travel)
		x, err = s.measure(ctx, n)
	}
	if err != nil {
		return reading.Reading{}, err
	}
	if !x.Good() {
		return reading.Reading{}, fmt.Errorf("%w: %s", errNoValue, x.Fault)
	}
	return s.readingOf(x, n), nil
}

// errNoValue is the error of a display that shows no value.
var errNoValue = errors.New("the meter shows no value")

// Measures reports whether a meter on a port measures a quantity.
func (s *Session) Measures(q run.Quantity) bool { return s.source != nil && s.source.meter(q) != "" }

// Reading returns what the meter shows as the reading that the walk asks for; ok is false while it
// shows no value.
func (l Live) Reading() (x reading.Reading, ok bool) { return l.reading, l.On && l.Text != "" }
