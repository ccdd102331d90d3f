package guide

import (
	"context"
	"errors"
	"fmt"

	"ohmkeep/internal/assess/walk"
	"ohmkeep/internal/instrument/survey"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// readFixed takes the readings of the fixed probes in a step. What they cannot read, or have not sent when
// the context ends or a person does not wait any longer, is listed in Snapshot. The caller holds s.doing.
func (s *Session) readFixed(ctx context.Context, step string) error {
	var missed []Missed
	for _, p := range s.config.Probes {
		some, err := s.readProbe(ctx, p, step)
		missed = append(missed, some...)
		if err != nil {
			return err
		}
	}
	s.update(func() { s.missed = missed })
	if errors.Is(ctx.Err(), context.Canceled) {
		return ctx.Err()
	}
	return nil
}

// readProbe takes the readings of one fixed probe in a step, and returns those that it missed.
func (s *Session) readProbe(ctx context.Context, p survey.Probe, step string) (missed []Missed, err error) {
	waiting, leave := context.WithCancel(ctx)
	defer leave()
	s.setReading(&fixedReading{p.Name, leave})
	defer s.setReading(nil)
	for _, c := range p.Channels {
		if c.From == "" {
			continue
		}
		x, err := s.measureFixed(waiting, p, c)
		place := survey.Visit{Quantity: c.Quantity, From: c.From, To: c.To}
		meter := s.config.Run.Meters[max(p.Meter, 0)]
		switch {
		case waiting.Err() != nil:
			missed = append(missed, Missed{place.String(), "nothing came from probe " + p.Name})
			continue
		case err != nil:
			missed = append(missed, Missed{place.String(), fmt.Sprintf("probe %s: %v", p.Name, err)})
			continue
		case !x.Good():
			missed = append(missed, Missed{place.String(), x.Fault})
			continue
		case !meter.Shows(c.Quantity, x.Value):
			missed = append(missed, Missed{place.String(), fmt.Sprintf("%s %s is more than meter %q is described for", x.Text, x.Unit, meter.Name)})
			continue
		}
		r := x.Reading
		r.Step, r.From, r.To, r.Meter = step, c.From, c.To, meter.Name
		e := walk.ReadingEvent(r)
		e.Fixed = true
		if err := s.append(ctx, s.Snapshot().Walk, e); err != nil {
			return missed, err
		}
	}
	return missed, nil
}

func (s *Session) measureFixed(ctx context.Context, p survey.Probe, c run.ProbeChannel) (reading.Sample, error) {
	if err := s.beginMeasuring(ctx); err != nil {
		return reading.Sample{}, err
	}
	defer s.endMeasuring()
	return p.Device.Measure(ctx, c.ID, c.Quantity)
}
