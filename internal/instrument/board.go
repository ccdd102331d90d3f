package instrument

import (
	"context"
	"errors"
	"os"
	"slices"
	"strings"
	"sync"
	"time"

	"ohmkeep/internal/instrument/lines"
	"ohmkeep/internal/instrument/port"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// errClosed is the error of calls after Close.
var errClosed = os.ErrClosed

// board is a device that sends lines by itself.
type board struct {
	tally
	profile *profile.Profile
	wire    *port.Port
	options Options
	waiting []reading.Sample // of a line that held several values

	mu            sync.Mutex // of what follows
	identity      string     // the first comment, or the latest one that identifies the board
	identityKnown bool       // identity identifies the board
	serials       []sensor   // of the sensors, by channel
}

// sensor is the serial number of a channel's sensor.
type sensor struct{ channel, number string }

func (s *board) Identity() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	parts := []string{}
	if s.identity != "" {
		parts = append(parts, s.identity)
	}
	for _, x := range s.serials {
		parts = append(parts, x.channel+"="+x.number)
	}
	return strings.Join(parts, " ")
}

func (s *board) Next(ctx context.Context) (reading.Sample, error) {
	for len(s.waiting) == 0 {
		l, err := s.wire.Line(ctx)
		if err != nil {
			return reading.Sample{}, err
		}
		s.waiting = s.parseLine(l)
	}
	next := s.waiting[0]
	s.waiting = s.waiting[1:]
	return next, nil
}

const (
	pauseLimit = 30 * time.Millisecond  // after this pause all old lines have been read
	catchUp    = 500 * time.Millisecond // the same limit for a board that never pauses
)

// Measure first discards the lines that the board sent while the port was not read, so that
// the sample is a new one.
func (s *board) Measure(ctx context.Context, channel string, q run.Quantity) (reading.Sample, error) {
	if err := skipOld(ctx, s.Next); err != nil {
		return reading.Sample{}, err
	}
	for {
		sample, err := s.Next(ctx)
		if err != nil || sample.Channel == channel && sample.Quantity == q {
			return sample, err
		}
	}
}

// skipOld reads by next what a device sent while its port was not read.
func skipOld(ctx context.Context, next func(context.Context) (reading.Sample, error)) error {
	old, cancel := context.WithTimeout(ctx, catchUp)
	defer cancel()
	for {
		pause, cancel := context.WithTimeout(old, pauseLimit)
		_, err := next(pause)
		cancel()
		if errors.Is(err, context.DeadlineExceeded) {
			return nil
		} else if err != nil {
			return err
		}
	}
}

func (s *board) Close() error { return s.wire.Close() }

// parseLine returns the samples of one line and counts the line.
func (s *board) parseLine(l port.Line) []reading.Sample {
	e := Event{Time: l.Time, Kind: Values, Text: l.Text}
	values, err := lines.Parse(s.profile.Line, l.Text)
	switch {
	case l.Fault == port.StartMissing:
		e.Kind, e.Reason, e.Incomplete = Skipped, string(l.Fault), true
	case l.Fault != "":
		e.Kind, e.Reason, e.Incomplete = Bad, string(l.Fault), true
	case err != nil:
		e.Kind, e.Reason = Bad, err.Error()
	case len(values) == 0:
		e.Kind = Comment
		s.setIdentity(l.Text)
	default:
		for _, v := range values {
			s.setSerial(v.Channel, v.Serial)
			v.Time = l.Time
			e.Samples = append(e.Samples, correct(v, s.options.Shunts))
		}
	}
	s.add(e.Kind)
	s.options.Log(e)
	return e.Samples
}

// setIdentity stores a comment as the board's identity, if it is one. It changes when another
// board is connected.
func (s *board) setIdentity(text string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	who := s.profile.Line.Identity
	switch {
	case who != nil && who.MatchString(text):
		s.identity, s.identityKnown = text, true
	case s.identity == "" && !s.identityKnown:
		s.identity = text
	}
}

// setSerial stores the serial number of a channel's sensor.
func (s *board) setSerial(channel, number string) {
	if number == "" {
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	for i := range s.serials {
		if s.serials[i].channel == channel {
			s.serials[i].number = number
			return
		}
	}
	s.serials = append(s.serials, sensor{channel, number})
	slices.SortFunc(s.serials, func(a, b sensor) int { return strings.Compare(a.channel, b.channel) })
}

// correct recalculates a current with the right shunt of its channel. If the shunt that
// the board used is unknown, the value is removed, because it is wrong.
func correct(s reading.Sample, shunts map[string]float64) reading.Sample {
	ohms, given := shunts[s.Channel]
	if !given || s.Quantity != run.Current || !s.Good() {
		return s
	}
	right, err := s.WithShunt(ohms)
	if err != nil {
		s.SetFault(reading.Faulty, err.Error())
		return s
	}
	return right
}
