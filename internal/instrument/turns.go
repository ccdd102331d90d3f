package instrument

import (
	"context"
	"time"

	"ohmkeep/internal/reading"
)

// turns holds which channel is queried next.
type turns struct {
	at    int       // into Options.Channels
	taken int       // readings of this turn
	last  time.Time // of the latest question; for pauses only, so not Options.Clock
}

// Next queries the channel whose turn it is. A change of function wears a relay, so the
// profile sets how many readings are taken before the next one.
func (m *meter) Next(ctx context.Context) (reading.Sample, error) {
	channels := m.options.Channels
	if len(channels) == 0 {
		return reading.Sample{}, ErrAsked
	}
	if !m.last.IsZero() {
		if err := m.options.Sleep(ctx, m.profile.Query.Every-time.Since(m.last)); err != nil {
			return reading.Sample{}, err
		}
	}
	m.last = time.Now()
	c := channels[m.at]
	if err := m.prepare(ctx, c.Quantity); err != nil {
		m.pass(len(channels))
		return reading.Sample{}, err
	}
	s, err := m.read(ctx, c.ID, c.Quantity)
	switch {
	case err != nil:
		m.pass(len(channels)) // a channel without answer does not block the others
	case s.Quality == reading.Unsettled, s.Quality == reading.Overload && m.widerChosen(c.Quantity):
	default:
		if m.taken++; m.taken >= m.profile.Query.Turn {
			m.pass(len(channels))
		}
	}
	return s, err
}

// pass moves to the next channel.
func (t *turns) pass(n int) { t.at, t.taken = (t.at+1)%n, 0 }
