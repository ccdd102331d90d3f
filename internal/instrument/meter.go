package instrument

import (
	"context"
	"errors"
	"fmt"
	"time"

	"ohmkeep/internal/instrument/port"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/instrument/scpi"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// meter is a device that answers SCPI questions.
type meter struct {
	tally
	selector
	turns
	profile  *profile.Profile
	wire     *port.Port
	options  Options
	client   scpi.Client
	identity scpi.Identity
	sent     string    // the message sent last
	asked    string    // the query whose answer is stamped …
	answered time.Time // … with this time
}

// closeTimeout bounds how long the closing commands of a meter may take.
const closeTimeout = 500 * time.Millisecond

// openMeter sends the profile's start commands and then queries the identity. It discards
// earlier entries of the error queue.
func openMeter(ctx context.Context, p *profile.Profile, wire *port.Port, o Options) (*meter, error) {
	m := &meter{profile: p, wire: wire, options: o}
	m.client = scpi.Client{Conn: (*meterConn)(m), Identify: p.Query.Identity, Errors: p.Query.Error,
		Timeout: p.Query.Timeout, Overload: p.Query.Overload}
	err := m.begin(ctx)
	if err != nil {
		_ = wire.Close() // the first error is the one to return
		return nil, err
	}
	return m, nil
}

func (m *meter) begin(ctx context.Context) (err error) {
	for _, command := range m.profile.Query.Start {
		if err := m.client.Conn.Send(ctx, command); err != nil {
			return fmt.Errorf("%s: %w", command, err)
		}
	}
	if m.identity, err = m.client.Identity(ctx); err != nil {
		return err
	}
	found, err := m.client.Drain(ctx)
	m.logErrors(found)
	return err
}

// logErrors logs the entries of a meter's error queue.
func (m *meter) logErrors(found []scpi.Error) {
	for _, e := range found {
		m.options.Log(Event{Time: m.options.Clock(), Kind: Complained, Reason: e.Error()})
	}
}

func (m *meter) Identity() string { return m.identity.Text }

func (m *meter) Measure(ctx context.Context, channel string, q run.Quantity) (reading.Sample, error) {
	if !m.profile.Query.Asks(q) {
		return reading.Sample{}, fmt.Errorf("profile %s does not say how to measure a %s", m.profile.Name, q)
	}
	for {
		if err := m.prepare(ctx, q); err != nil {
			return reading.Sample{}, err
		}
		if err := m.options.Sleep(ctx, m.unsettledFor(m.options.Clock())); err != nil {
			return reading.Sample{}, err
		}
		s, err := m.read(ctx, channel, q)
		if err != nil || s.Quality != reading.Unsettled && !(s.Quality == reading.Overload && m.widerChosen(q)) {
			return s, err
		}
	}
}

// read queries one value in the selected function and range.
func (m *meter) read(ctx context.Context, channel string, q run.Quantity) (reading.Sample, error) {
	messages := m.profile.Query.Measure[q]
	if m.selected != nil {
		messages = []string{m.selected.Read}
	}
	m.asked = messages[len(messages)-1]
	n, err := m.client.Measure(ctx, messages)
	if err != nil {
		return reading.Sample{}, m.afterError(err)
	}
	s := reading.Sample{Reading: reading.Reading{Time: m.answered, Quantity: q, Text: n.Text, Value: n.Value, Unit: reading.Unit(q)},
		Channel: channel, Raw: n.Text}
	switch {
	case m.unsettledFor(m.answered) > 0:
		s.SetFault(reading.Unsettled, "not settled after a change of function or range")
	case n.Quality == reading.Overload:
		s.SetFault(n.Quality, "overload")
	case n.Quality != reading.Good:
		s.SetFault(n.Quality, "not a number")
	}
	m.chooseRange(q, s)
	return s, nil
}

// afterError logs the meter's errors and makes the next reading select function and range again.
func (m *meter) afterError(err error) error {
	m.forget()
	var queue scpi.Queue
	if errors.As(err, &queue) {
		m.logErrors(queue.Errors)
	}
	return err
}

func (m *meter) Close() error {
	ctx, cancel := context.WithTimeout(context.Background(), closeTimeout)
	defer cancel()
	for _, command := range m.profile.Query.Finish {
		if err := m.client.Conn.Send(ctx, command); err != nil {
			break // an unplugged meter takes no closing commands
		}
	}
	err := m.wire.Close()
	if errors.Is(err, port.ErrGone) {
		return nil
	}
	return err
}
