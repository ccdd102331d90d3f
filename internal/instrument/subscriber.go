package instrument

import (
	"context"
	"fmt"
	"time"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/instrument/mqtt"
	"ohmkeep/internal/instrument/payload"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// subscriber is a device that publishes at a broker.
type subscriber struct {
	tally
	profile  *profile.Profile
	options  Options
	received <-chan received
	stop     context.CancelFunc
	waiting  []reading.Sample // of a message that held several values
}

// received is a message of one of the subscriptions, or why there will be no more.
type received struct {
	message *mqtt.Message
	err     error
}

// upTimeout is how long opening waits for the broker. A caller tries again.
const upTimeout = 3 * time.Second

// Filters returns the filters of the topics that the probes of a run publish, each once. profiles are
// those of the probes, in their order.
func Filters(probes []run.Probe, profiles []*profile.Profile) []string {
	var all []string
	for i, p := range probes {
		if profiles[i].Kind == profile.MQTT {
			for _, f := range profiles[i].Messages.Filters(p.Topic) {
				addNew(&all, f)
			}
		}
	}
	return all
}

// openSubscriber waits until the broker delivers the topics of a device.
func openSubscriber(ctx context.Context, p *profile.Profile, o Options) (*subscriber, error) {
	if o.Broker == nil {
		return nil, fault.Fault{Text: "profile " + p.Name + ": a run file is needed that names the broker", Hint: "[mqtt] with url = …"}
	}
	var subs []*mqtt.Subscription
	for _, f := range p.Messages.Filters(o.Topic) {
		s := o.Broker.Subscription(f)
		if s == nil {
			return nil, fmt.Errorf("topic %s is not subscribed to", f)
		}
		subs = append(subs, s)
	}
	up, cancel := context.WithTimeout(ctx, upTimeout)
	defer cancel()
	if err := o.Broker.AwaitUp(up); err != nil {
		return nil, err
	}
	reading, stop := context.WithCancel(context.WithoutCancel(ctx))
	all := make(chan received)
	for _, s := range subs {
		go func() {
			for {
				m, err := s.Next(reading)
				select {
				case all <- received{m, err}:
				case <-reading.Done():
					if m != nil {
						s.Return(m)
					}
					return
				}
				if err != nil {
					return
				}
			}
		}()
	}
	return &subscriber{profile: p, options: o, received: all, stop: stop}, nil
}

func (s *subscriber) Identity() string { return "topic " + s.options.Topic }

func (s *subscriber) Next(ctx context.Context) (reading.Sample, error) {
	for len(s.waiting) == 0 {
		select {
		case r := <-s.received:
			if r.err != nil {
				return reading.Sample{}, r.err
			}
			s.waiting = s.parseMessage(r.message)
		case <-ctx.Done():
			return reading.Sample{}, ctx.Err()
		}
	}
	next := s.waiting[0]
	s.waiting = s.waiting[1:]
	return next, nil
}

// Measure waits for the next value of a channel.
func (s *subscriber) Measure(ctx context.Context, channel string, q run.Quantity) (reading.Sample, error) {
	for {
		sample, err := s.Next(ctx)
		if err != nil || sample.Channel == channel && sample.Quantity == q {
			return sample, err
		}
	}
}

func (s *subscriber) Close() error {
	s.stop()
	return nil
}

// parseMessage returns the samples of a message, and logs it as one line. What the broker kept of a
// topic is skipped: it may be of any age. The date of a message that waited at the broker is uncertain.
func (s *subscriber) parseMessage(m *mqtt.Message) []reading.Sample {
	e := Event{Time: s.options.Clock().Add(-time.Since(m.Arrived)), Kind: Values, Text: m.Topic + " " + string(m.Payload), Done: m.Done}
	samples, err := payload.Parse(s.profile.Messages, s.options.Topic, m.Topic, m.Payload)
	switch {
	case m.Retained:
		e.Kind, e.Reason = Skipped, "the broker had kept it, since when is not known"
	case err != nil:
		e.Kind, e.Reason = Bad, err.Error()
	}
	for _, v := range samples {
		if e.Kind != Values {
			break
		}
		v.Time = e.Time
		if m.Late {
			v.Quality |= reading.ClockUncertain
		}
		e.Samples = append(e.Samples, correct(v, s.options.Shunts))
	}
	s.add(e.Kind)
	s.options.Log(e)
	return e.Samples
}
