package guide

import (
	"context"
	"fmt"

	"ohmkeep/internal/assess/walk"
	"ohmkeep/internal/instrument/survey"
)

// readFixed takes the readings of the fixed probes in a step. What they cannot read is
// listed in Snapshot. The caller holds s.doing.
func (s *Session) readFixed(ctx context.Context, step string) error {
	var missed []Missed
	for _, p := range s.config.Probes {
		for _, c := range p.Channels {
			if c.From == "" {
				continue
			}
			s.measuring.Lock()
			x, err := p.Device.Measure(ctx, c.ID, c.Quantity)
			s.measuring.Unlock()
			if err != nil {
				return fmt.Errorf("probe %s: %w", p.Name, err)
			}
			place := survey.Visit{Quantity: c.Quantity, From: c.From, To: c.To}
			meter := s.config.Run.Meters[max(p.Meter, 0)]
			switch {
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
				return err
			}
		}
	}
	s.update(func() { s.missed = missed })
	return nil
}
