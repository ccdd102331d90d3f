package instrument

import (
	"context"
	"errors"
	"sync"
	"time"

	"ohmkeep/internal/board"
	"ohmkeep/internal/port"
	"ohmkeep/internal/profile"
	"ohmkeep/internal/run"
)

// speaker is a board that prints lines by itself.
type speaker struct {
	tally
	profile *profile.Profile
	wire    *port.Port
	options Options
	waiting []Sample // of a line that held several values

	mu       sync.Mutex // of greeting
	greeting string     // the first comment that was heard
}

func (s *speaker) Identity() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.greeting
}

func (s *speaker) Next(ctx context.Context) (Sample, error) {
	for len(s.waiting) == 0 {
		l, err := s.wire.Line(ctx)
		if err != nil {
			return Sample{}, err
		}
		s.waiting = s.understand(l)
	}
	next := s.waiting[0]
	s.waiting = s.waiting[1:]
	return next, nil
}

const (
	breath  = 30 * time.Millisecond  // a pause after which nothing old can wait to be read
	catchUp = 500 * time.Millisecond // for reading what is old of a board that never pauses
)

// Measure first reads what the board said while nobody listened, so that the
// sample is of now.
func (s *speaker) Measure(ctx context.Context, channel string, q run.Quantity) (Sample, error) {
	old, cancel := context.WithTimeout(ctx, catchUp)
	defer cancel()
	for {
		pause, cancel := context.WithTimeout(old, breath)
		_, err := s.Next(pause)
		cancel()
		if errors.Is(err, context.DeadlineExceeded) {
			break
		} else if err != nil {
			return Sample{}, err
		}
	}
	for {
		sample, err := s.Next(ctx)
		if err != nil || sample.Channel == channel && sample.Quantity == q {
			return sample, err
		}
	}
}

func (s *speaker) Close() error { return s.wire.Close() }

// understand gives the samples of one line and notes what became of it.
func (s *speaker) understand(l port.Line) []Sample {
	e := Event{Time: l.Time, Kind: Spoke, Text: l.Text}
	values, err := board.Parse(s.profile.Line, l.Text)
	switch {
	case l.Fault == port.Beheaded:
		e.Kind, e.Reason = Skipped, string(l.Fault)
	case l.Fault != "":
		e.Kind, e.Reason = Bad, string(l.Fault)
	case err != nil:
		e.Kind, e.Reason = Bad, err.Error()
	case len(values) == 0:
		e.Kind = Comment
		s.greet(l.Text)
	default:
		for _, v := range values {
			e.Samples = append(e.Samples, Sample{Channel: v.Channel, Quantity: v.Quantity, Value: v.SI,
				Text: v.Text, Unit: v.Unit, Raw: v.Raw, Time: l.Time, Fault: v.Fault})
		}
	}
	s.add(e.Kind)
	s.options.Log(e)
	return e.Samples
}

func (s *speaker) greet(text string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.greeting == "" {
		s.greeting = text
	}
}
