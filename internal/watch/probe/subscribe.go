package probe

import (
	"context"

	"ohmkeep/internal/instrument"
	"ohmkeep/internal/instrument/mqtt"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/run"
)

// subscribe opens a probe over a connection of its own to the broker, which takes nothing from a watch.
func (op *Opener) subscribe(ctx context.Context, x run.Probe, p *profile.Profile, o instrument.Options) (instrument.Instrument, error) {
	link, err := mqtt.Dial(mqtt.Options{Broker: *op.Run.Broker, Dir: op.Dir, Filters: p.Messages.Filters(x.Topic), Temporary: true})
	if err != nil {
		return nil, err
	}
	o.Broker = link
	opened, err := instrument.Open(ctx, p, x.Port, o)
	if err != nil {
		link.Close()
		return nil, err
	}
	return &subscribed{Instrument: opened, link: link}, nil
}

// subscribed is an instrument with a connection of its own.
type subscribed struct {
	instrument.Instrument
	link *mqtt.Link
}

func (s *subscribed) Close() error {
	err := s.Instrument.Close()
	s.link.Close()
	return err
}
