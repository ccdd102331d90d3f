package guide

import (
	"context"
	"fmt"
	"slices"
	"time"

	"ohmkeep/internal/run"
)

// Silence is how long an instrument may send nothing before the walk reports it. Slow boards send less often, so
// a measurement goes on after it.
const Silence = 2 * time.Second

// beginMeasuring waits until no instrument measures. Its error is that of the context.
func (s *Session) beginMeasuring(ctx context.Context) error {
	select {
	case s.measuring <- struct{}{}:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

func (s *Session) endMeasuring() { <-s.measuring }

// Silent returns in words that nothing comes from the carried meter that measures a quantity.
func (s *Session) Silent(q run.Quantity) string {
	name := ""
	if p, ok := s.source.(*probes); ok {
		probe, _, _ := p.find(q)
		name = probe.Name
	}
	return fmt.Sprintf("nothing comes from probe %s: is it switched on, connected and set to %s?", name, q)
}

// Absent returns the probes of the run file that could not be opened, and why, in words.
func (s *Session) Absent() []string { return s.config.Absent }

// CanType reports whether the run file describes a meter of a person's own that measures a quantity.
func (s *Session) CanType(q run.Quantity) bool {
	return slices.ContainsFunc(s.config.Run.Meters[:s.config.Own], func(m run.Meter) bool { return m.Measures(q) })
}

// fixedReading is a fixed probe that is being read.
type fixedReading struct {
	probe string
	leave context.CancelFunc
}

// Awaited returns the name of the fixed probe that is read now; "" = none is.
func (s *Session) Awaited() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.reading == nil {
		return ""
	}
	return s.reading.probe
}

// LeaveAwaited leaves out what the fixed probe that is read now has not sent yet.
func (s *Session) LeaveAwaited() {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.reading != nil {
		s.reading.leave()
	}
}

func (s *Session) setReading(r *fixedReading) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.reading = r
}
