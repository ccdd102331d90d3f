package survey

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// Device is an opened instrument, such as an instrument.Instrument.
type Device interface {
	// Measure returns one new sample of a channel, also one that is not good.
	Measure(ctx context.Context, channel string, q run.Quantity) (reading.Sample, error)
	Close() error
}

// Probe is an opened instrument and its entry in the run file.
type Probe struct {
	run.Probe
	Device Device
}

// Guide sets the steps and moves the leads of a survey.
type Guide interface {
	// Step returns once the run shows a step. Skip{} leaves the step out.
	Step(ctx context.Context, step run.Step) error
	// Reach returns once a carried meter is at a visit. Skip{} leaves it out; Back goes
	// to an earlier one.
	Reach(ctx context.Context, v Visit) error
	// Took receives each reading as soon as it is taken; its error ends the survey.
	Took(ctx context.Context, x reading.Reading) error
	// Missed receives each visit without a value, and the reason.
	Missed(v Visit, why string)
}

// Skip is the error by which a Guide leaves out a step or visit.
type Skip struct{}

func (Skip) Error() string { return "left out" }

// Back is the error by which a Guide, or a person at the prompt, returns to an earlier visit of the
// step, whose reading was removed.
type Back struct{ To Visit }

func (b Back) Error() string { return fmt.Sprintf("back to %v", b.To) }

// Survey is a list of steps and visits to read.
type Survey struct {
	Run    *run.Run
	Steps  []run.Step
	Visits []Visit // for the carried meters; what a fixed probe sees is left out
	Probes []Probe
}

// Take takes the readings of all steps. A visit without a value is reported to the guide and left
// out. It returns the error of the guide or the context, or the error that an instrument is gone.
func (s *Survey) Take(ctx context.Context, g Guide) error {
	for _, step := range s.Steps {
		switch err := g.Step(ctx, step); {
		case err == (Skip{}):
			continue
		case err != nil:
			return err
		}
		if err := s.takeFixed(ctx, step, g); err != nil {
			return err
		}
		if err := s.takeCarried(ctx, step, g); err != nil {
			return err
		}
	}
	return nil
}

// takeFixed reads each channel that has its place in the run.
func (s *Survey) takeFixed(ctx context.Context, step run.Step, g Guide) error {
	for _, p := range s.Probes {
		for _, c := range p.Channels {
			if c.From == "" {
				continue
			}
			if err := s.take(ctx, step, p, c, Visit{c.Quantity, c.From, c.To}, g); err != nil {
				return err
			}
		}
	}
	return nil
}

// takeCarried takes the readings of the portable meters.
func (s *Survey) takeCarried(ctx context.Context, step run.Step, g Guide) error {
	fixed := map[Visit]bool{}
	for _, p := range s.Probes {
		for _, c := range p.Channels {
			fixed[Visit{c.Quantity, c.From, c.To}] = true
		}
	}
	var visits []Visit
	for _, v := range s.Visits {
		if _, _, ok := s.carried(v.Quantity); ok && !fixed[v] {
			visits = append(visits, v)
		}
	}
	for i := 0; i < len(visits); i++ {
		v := visits[i]
		p, c, _ := s.carried(v.Quantity)
		err := g.Reach(ctx, v)
		if err == nil {
			err = s.take(ctx, step, p, c, v, g)
		}
		back, isBack := errors.AsType[Back](err)
		switch {
		case isBack:
			i = max(slices.Index(visits, back.To), 0) - 1
		case err != nil && err != (Skip{}):
			return err
		}
	}
	return nil
}

// carried returns a portable meter that measures a quantity.
func (s *Survey) carried(q run.Quantity) (Probe, run.ProbeChannel, bool) {
	for _, p := range s.Probes {
		for _, c := range p.Channels {
			if c.From == "" && c.Quantity == q {
				return p, c, true
			}
		}
	}
	return Probe{}, run.ProbeChannel{}, false
}

// take takes one reading and passes it to the guide.
func (s *Survey) take(ctx context.Context, step run.Step, p Probe, c run.ProbeChannel, v Visit, g Guide) error {
	sample, err := p.Device.Measure(ctx, c.ID, c.Quantity)
	if err != nil {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		return fmt.Errorf("probe %s: %w", p.Name, err)
	}
	if !sample.Good() {
		g.Missed(v, sample.Fault)
		return nil
	}
	meter := s.Run.Meters[max(p.Meter, 0)]
	if !meter.Shows(v.Quantity, sample.Value) {
		g.Missed(v, fmt.Sprintf("%s %s is more than meter %q is described for", sample.Text, sample.Unit, meter.Name))
		return nil
	}
	x := sample.Reading
	x.Step, x.From, x.To, x.Meter = step.Name, v.From, v.To, meter.Name
	return g.Took(ctx, x)
}

// String returns a visit in words, such as "west.start+ to west.start-".
func (v Visit) String() string {
	switch v.Quantity {
	case run.Current:
		return "the current of feed " + strconv.Quote(v.From)
	case run.Temperature:
		return "the temperature of " + strconv.Quote(v.From)
	}
	return v.From + " to " + v.To
}
