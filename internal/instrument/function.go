package instrument

import (
	"context"
	"fmt"
	"time"

	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// selector is the function and range that a meter is set to.
type selector struct {
	selected *profile.Function // nil: not known
	since    time.Time         // when it was selected
	state    string            // the state that the meter reported then
	ranges   map[run.Quantity]int
}

// forget makes the next reading select function and range again.
func (s *selector) forget() { s.selected = nil }

// unsettledFor returns how long a meter still needs to settle.
func (s *selector) unsettledFor(now time.Time) time.Duration {
	if s.selected == nil {
		return 0
	}
	if now.Before(s.since) { // the clock was set back: the elapsed time is unknown
		s.since = now
	}
	return s.selected.Settle - now.Sub(s.since)
}

// prepare sets the meter to the function and range for the next reading of a quantity, if it
// is not set so already.
func (m *meter) prepare(ctx context.Context, q run.Quantity) error {
	ranges := m.profile.Query.Functions[q]
	if len(ranges) == 0 {
		m.forget() // the question itself sets the function, and the range
		return nil
	}
	if m.ranges == nil {
		m.ranges = map[run.Quantity]int{}
	}
	at, known := m.ranges[q]
	if !known {
		at = len(ranges) - 1 // the widest first: it is not known what is connected
		m.ranges[q] = at
	}
	wanted := &ranges[at]
	if m.selected == wanted {
		same, err := m.unchangedAtPanel(ctx)
		if same || err != nil {
			return err
		}
	}
	for _, command := range wanted.Select {
		if err := m.client.Command(ctx, command); err != nil {
			return m.afterError(err)
		}
	}
	m.state = ""
	if wanted.State != "" {
		var err error
		if m.state, err = m.client.Text(ctx, wanted.State); err != nil {
			return m.afterError(err)
		}
	}
	m.selected, m.since = wanted, m.options.Clock()
	return nil
}

// unchangedAtPanel reports whether a meter still has its last function and range: they may have been
// changed at its panel.
func (m *meter) unchangedAtPanel(ctx context.Context) (bool, error) {
	if m.selected.State == "" {
		return true, nil
	}
	state, err := m.client.Text(ctx, m.selected.State)
	if err != nil {
		return false, m.afterError(err)
	}
	if state != m.state {
		m.options.Log(Event{Time: m.options.Clock(), Kind: Changed,
			Reason: fmt.Sprintf("it was set to %q by another program or at its panel, and is set back", state)})
	}
	return state == m.state, nil
}

// maxFill is how much of a smaller range a value may fill for that range to be taken,
// so that a value near its end does not make the meter change ranges all the time.
const maxFill = 0.9

// chooseRange sets the range for the next reading: a wider one after an overload, the
// smallest that holds the value well after a good one.
func (m *meter) chooseRange(q run.Quantity, s reading.Sample) {
	ranges := m.profile.Query.Functions[q]
	if m.selected == nil || len(ranges) == 0 {
		return
	}
	at := m.ranges[q]
	switch {
	case s.Quality == reading.Overload && at < len(ranges)-1:
		m.ranges[q] = at + 1
	case s.Good():
		for at > 0 && max(s.Value, -s.Value) <= maxFill*ranges[at-1].UpTo {
			at--
		}
		m.ranges[q] = at
	}
}

// widerChosen reports whether a wider range than the selected one was chosen.
func (m *meter) widerChosen(q run.Quantity) bool {
	ranges := m.profile.Query.Functions[q]
	return m.selected != nil && len(ranges) > 0 && ranges[m.ranges[q]].UpTo > m.selected.UpTo
}
