package instrument

import (
	"context"
	"errors"
	"fmt"
	"time"

	"ohmkeep/internal/port"
	"ohmkeep/internal/profile"
	"ohmkeep/internal/run"
	"ohmkeep/internal/scpi"
)

// meter is a device that answers SCPI questions.
type meter struct {
	tally
	profile  *profile.Profile
	wire     *port.Port
	options  Options
	client   scpi.Client
	identity scpi.Identity
	sent     string    // the message sent last
	asked    string    // the query whose answer is stamped …
	answered time.Time // … with this time
}

// farewell is how long a meter that is left may take to hear it.
const farewell = 500 * time.Millisecond

// openMeter sends what the profile sends first, then learns who the meter is.
// What the error queue held before is nobody's concern.
func openMeter(ctx context.Context, p *profile.Profile, wire *port.Port, o Options) (*meter, error) {
	m := &meter{profile: p, wire: wire, options: o}
	m.client = scpi.Client{Conn: (*conversation)(m), Identify: p.Query.Identity, Errors: p.Query.Error, Timeout: p.Query.Timeout}
	err := m.begin(ctx)
	if err != nil {
		_ = wire.Close() // the first error is the one to tell
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
	m.complain(found)
	return err
}

// complain logs what a meter's error queue held.
func (m *meter) complain(found []scpi.Error) {
	for _, e := range found {
		m.options.Log(Event{Time: m.options.Clock(), Kind: Complained, Reason: e.Error()})
	}
}

func (m *meter) Identity() string { return m.identity.Text }

func (m *meter) Next(context.Context) (Sample, error) { return Sample{}, ErrAsked }

func (m *meter) Measure(ctx context.Context, channel string, q run.Quantity) (Sample, error) {
	messages, known := m.profile.Query.Measure[q]
	if !known {
		return Sample{}, fmt.Errorf("profile %s does not say how to measure a %s", m.profile.Name, q)
	}
	m.asked = messages[len(messages)-1]
	n, err := m.client.Measure(ctx, messages)
	if err != nil {
		var queue scpi.Queue
		if errors.As(err, &queue) {
			m.complain(queue.Errors)
		}
		return Sample{}, err
	}
	s := Sample{Channel: channel, Quantity: q, Text: n.Text, Unit: siUnit[q], Raw: n.Text, Time: m.answered}
	if n.Quality == scpi.Good {
		s.Value = n.Value
	} else {
		s.Text, s.Fault = "", n.Quality.String()
	}
	return s, nil
}

var siUnit = map[run.Quantity]string{run.Voltage: "V", run.Current: "A", run.Temperature: "degC"}

func (m *meter) Close() error {
	ctx, cancel := context.WithTimeout(context.Background(), farewell)
	defer cancel()
	for _, command := range m.profile.Query.Finish {
		if err := m.client.Conn.Send(ctx, command); err != nil {
			break // a meter that is gone needs no farewell
		}
	}
	err := m.wire.Close()
	if errors.Is(err, port.ErrGone) {
		return nil
	}
	return err
}

// conversation is the meter's side that a scpi.Client speaks over.
type conversation meter

func (c *conversation) Send(ctx context.Context, message string) error {
	c.wire.Forget()
	c.sent = message
	c.options.Log(Event{Time: c.options.Clock(), Kind: Sent, Text: message})
	wait, cancel := context.WithTimeout(ctx, c.profile.Query.Timeout)
	defer cancel()
	return c.wire.Write(wait, []byte(message+c.profile.Port.Terminator))
}

func (c *conversation) Receive(ctx context.Context) (string, error) {
	for {
		l, err := c.wire.Line(ctx)
		if err != nil {
			return "", err
		}
		if l.Fault != "" {
			c.add(Bad)
			c.options.Log(Event{Time: l.Time, Kind: Bad, Text: l.Text, Reason: string(l.Fault)})
			continue
		}
		c.add(Answered)
		c.options.Log(Event{Time: l.Time, Kind: Answered, Text: l.Text})
		if c.sent == c.asked {
			c.answered = l.Time
		}
		return l.Text, nil
	}
}
