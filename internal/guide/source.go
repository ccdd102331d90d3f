package guide

import (
	"context"
	"time"

	"ohmkeep/internal/instrument/survey"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// source is a meter that the program reads by itself.
type source interface {
	// meter returns the name of the meter that measures a quantity, "" for none.
	meter(q run.Quantity) string
	// measure measures with the leads where the person is to put them.
	measure(ctx context.Context, n assessment.Next) (reading.Sample, error)
	// pause is the time between two measurements.
	pause() time.Duration
}

// probes are the carried meters of the run file.
type probes struct {
	run  *run.Run
	list []survey.Probe
}

// carried returns the carried meters among some probes; nil where there are none.
func carried(r *run.Run, list []survey.Probe) source {
	p := &probes{r, list}
	for q := range run.QuantityNames {
		if p.meter(run.Quantity(q)) != "" {
			return p
		}
	}
	return nil
}

func (p *probes) find(q run.Quantity) (survey.Probe, run.ProbeChannel, bool) {
	for _, probe := range p.list {
		for _, c := range probe.Channels {
			if c.From == "" && c.Quantity == q {
				return probe, c, true
			}
		}
	}
	return survey.Probe{}, run.ProbeChannel{}, false
}

func (p *probes) meter(q run.Quantity) string {
	probe, _, ok := p.find(q)
	if !ok {
		return ""
	}
	return p.run.Meters[max(probe.Meter, 0)].Name
}

func (p *probes) pause() time.Duration { return 50 * time.Millisecond }
