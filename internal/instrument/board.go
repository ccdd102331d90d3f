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

// errClosed is the error of what is asked after Close.
var errClosed = os.ErrClosed

// speaker is a board that prints lines by itself.
type speaker struct {
	tally
	profile *profile.Profile
	wire    *port.Port
	options Options
	waiting []reading.Sample // of a line that held several values

	mu       sync.Mutex // of what follows
	greeting string     // the first comment, or the latest that says who the board is
	known    bool       // it says who the board is
	serials  []sensor   // of the sensors, by channel
}

// sensor is the serial number of a channel's sensor.
type sensor struct{ channel, number string }

func (s *speaker) Identity() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	parts := []string{}
	if s.greeting != "" {
		parts = append(parts, s.greeting)
	}
	for _, x := range s.serials {
		parts = append(parts, x.channel+"="+x.number)
	}
	return strings.Join(parts, " ")
}

func (s *speaker) Next(ctx context.Context) (reading.Sample, error) {
	for len(s.waiting) == 0 {
		l, err := s.wire.Line(ctx)
		if err != nil {
			return reading.Sample{}, err
		}
		s.waiting = s.understand(l)
	}
	next := s.waiting[0]
	s.waiting = s.waiting[1:]
	return next, nil
}

const (
	pauseLimit = 30 * time.Millisecond  // a pause after which nothing old can wait to be read
	catchUp    = 500 * time.Millisecond // for reading what is old of a board that never pauses
)

// Measure first reads what the board sent while the port was not read, so that the
// sample is of now.
func (s *speaker) Measure(ctx context.Context, channel string, q run.Quantity) (reading.Sample, error) {
	old, cancel := context.WithTimeout(ctx, catchUp)
	defer cancel()
	for {
		pause, cancel := context.WithTimeout(old, pauseLimit)
		_, err := s.Next(pause)
		cancel()
		if errors.Is(err, context.DeadlineExceeded) {
			break
		} else if err != nil {
			return reading.Sample{}, err
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
func (s *speaker) understand(l port.Line) []reading.Sample {
	e := Event{Time: l.Time, Kind: Spoke, Text: l.Text}
	values, err := lines.Parse(s.profile.Line, l.Text)
	switch {
	case l.Fault == port.Beheaded:
		e.Kind, e.Reason, e.Part = Skipped, string(l.Fault), true
	case l.Fault != "":
		e.Kind, e.Reason, e.Part = Bad, string(l.Fault), true
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

// setIdentity takes a comment for the board's identity, if it is one: another board in
// the same place says another thing.
func (s *speaker) setIdentity(text string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	who := s.profile.Line.Identity
	switch {
	case who != nil && who.MatchString(text):
		s.greeting, s.known = text, true
	case s.greeting == "" && !s.known:
		s.greeting = text
	}
}

// setSerial notes the serial number of a channel's sensor.
func (s *speaker) setSerial(channel, number string) {
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

// correct applies the right shunt of a channel. A current that no shunt is known of
// loses its value: it is wrong for certain.
func correct(s reading.Sample, shunts map[string]float64) reading.Sample {
	ohms, given := shunts[s.Channel]
	if !given || s.Quantity != run.Current || !s.Good() {
		return s
	}
	right, err := s.WithShunt(ohms)
	if err != nil {
		s.Spoil(reading.Faulty, err.Error())
		return s
	}
	return right
}
