package guide

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"ohmkeep/internal/assess/walk"
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

func (p *probes) measure(ctx context.Context, n assessment.Next) (reading.Sample, error) {
	probe, c, _ := p.find(n.Quantity)
	x, err := probe.Device.Measure(ctx, c.ID, c.Quantity)
	if err != nil {
		return x, fmt.Errorf("probe %s: %w", probe.Name, err)
	}
	return x, nil
}

func (p *probes) pause() time.Duration { return 50 * time.Millisecond }

// Live is what the meter shows now.
type Live struct {
	On      bool   // a meter on a port measures what is asked
	Text    string // as displayed; "" = it shows no value
	Unit    string
	Settled bool
	Why     string // it is not settled
	reading reading.Reading
}

const (
	// settleTime is how long a display must be steady to count as settled, and settleSamples how many of its
	// values (common practice, no source).
	settleTime    = 900 * time.Millisecond
	settleSamples = 3
	// steadyCounts and steadyPart are how far the values may differ: counts of the display, and a part
	// of the value.
	steadyCounts = 2.0
	steadyPart   = 0.002
	// contactPart is the part of the supply's volts below which a pair voltage means that a lead touches
	// nothing: no pixel works there.
	contactPart = 0.1
)

// settling is the newest values of a display at one place.
type settling struct{ samples []reading.Sample }

// add adds a value and returns whether the display is settled, and why it is not.
func (s *settling) add(x reading.Sample, resolution, contact float64) (settled bool, why string) {
	if !x.Good() {
		s.samples = nil
		return false, x.Fault
	}
	s.samples = append(s.samples, x)
	for len(s.samples) > settleSamples && x.Time.Sub(s.samples[1].Time) >= settleTime {
		s.samples = s.samples[1:]
	}
	if math.Abs(x.Value) < contact {
		return false, "hardly any voltage: are both tips on bare metal?"
	}
	low, high := x.Value, x.Value
	for _, y := range s.samples {
		low, high = math.Min(low, y.Value), math.Max(high, y.Value)
	}
	if high-low > steadyCounts*resolution+steadyPart*math.Abs(x.Value) {
		return false, "not steady yet"
	}
	if len(s.samples) < settleSamples || x.Time.Sub(s.samples[0].Time) < settleTime {
		return false, "just arrived"
	}
	return true, ""
}

// resolution returns a count of a meter's display at a value, SI; 0 where it is not known.
func resolution(r *run.Run, meter string, q run.Quantity, value float64) float64 {
	if i := r.MeterIndex(meter); i >= 0 {
		if at := r.Meters[i].Range(q, value); at >= 0 {
			return r.Meters[i].Ranges[at].Resolution
		}
	}
	return 0
}

// contactVolts returns the least voltage that a reading shows where both leads touch; 0 where it may be
// anything.
func contactVolts(r *run.Run, n assessment.Next) float64 {
	from, err := r.Point(n.From)
	to, err2 := r.Point(n.To)
	if n.Quantity != run.Voltage || err != nil || err2 != nil || from.Place != to.Place {
		return 0
	}
	return contactPart * r.Supplies[0].Volts
}

// readLive reads the meter while a reading is asked for.
func (s *Session) readLive(ctx context.Context) {
	if s.config.Store != nil && s.source == nil {
		return
	}
	var at assessment.Next
	var number int
	var display settling
	for ctx.Err() == nil {
		changed, now := s.Changed(), s.Snapshot()
		n := now.Task.Read
		if !now.Ready || now.Task.Kind != walk.Measure || now.Walk.Paused() || s.source.meter(n.Quantity) == "" {
			if now.Live.On {
				s.update(func() { s.live = Live{} })
			}
			select {
			case <-changed:
			case <-ctx.Done():
			}
			continue
		}
		if at.Quantity != n.Quantity || at.From != n.From || at.To != n.To || at.Step != n.Step || number != now.Walk.Number() {
			at, number, display = n, now.Walk.Number(), settling{}
		}
		s.showLive(ctx, n, &display)
		select {
		case <-time.After(s.source.pause()):
		case <-ctx.Done():
		}
	}
}

// showLive measures once and shows it.
func (s *Session) showLive(ctx context.Context, n assessment.Next, display *settling) {
	x, err := s.measure(ctx, n)
	live := Live{On: true}
	if err != nil {
		live.Why = err.Error()
	} else {
		live.Text, live.Unit = x.Text, x.Unit
		live.reading = s.readingOf(x, n)
		live.Settled, live.Why = display.add(x, resolution(s.config.Run, live.reading.Meter, n.Quantity, x.Value), contactVolts(s.config.Run, n))
	}
	if ctx.Err() != nil {
		return
	}
	s.mu.Lock()
	same := s.live.On == live.On && s.live.Text == live.Text && s.live.Unit == live.Unit && s.live.Settled == live.Settled && s.live.Why == live.Why
	if same {
		s.live = live
	}
	s.mu.Unlock()
	if !same {
		s.update(func() { s.live = live })
	}
	if err != nil {
		select {
		case <-time.After(time.Second): // the port may come back
		case <-ctx.Done():
		}
	}
}

// measure measures with the live meter; one measurement at a time.
func (s *Session) measure(ctx context.Context, n assessment.Next) (reading.Sample, error) {
	s.measuring.Lock()
	defer s.measuring.Unlock()
	return s.source.measure(ctx, n)
}

// readingOf returns a sample as the reading of a place.
func (s *Session) readingOf(x reading.Sample, n assessment.Next) reading.Reading {
	r := x.Reading
	r.Step, r.From, r.To, r.Meter = n.Step, n.From, n.To, s.source.meter(n.Quantity)
	return r
}

// Measure takes one reading with the meter on the port, where the walk asks for it.
func (s *Session) Measure(ctx context.Context, n assessment.Next) (reading.Reading, error) {
	x, err := s.measure(ctx, n)
	if s.truth != nil { // the simulated leads have begun to travel there
		time.Sleep(travel)
		x, err = s.measure(ctx, n)
	}
	if err != nil {
		return reading.Reading{}, err
	}
	if !x.Good() {
		return reading.Reading{}, fmt.Errorf("%w: %s", errNoValue, x.Fault)
	}
	return s.readingOf(x, n), nil
}

// errNoValue is the error of a display that shows no value.
var errNoValue = errors.New("the meter shows no value")

// Measures reports whether a meter on a port measures a quantity.
func (s *Session) Measures(q run.Quantity) bool { return s.source != nil && s.source.meter(q) != "" }

// Reading returns what the meter shows as the reading that the walk asks for; ok is false while it
// shows no value.
func (l Live) Reading() (x reading.Reading, ok bool) { return l.reading, l.On && l.Text != "" }

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
