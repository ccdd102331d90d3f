package calibrationtest

import (
	"fmt"
	"math/rand/v2"
	"time"

	"ohmkeep/internal/instrument/survey"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// Walk reads the visits in every step with a meter of the run, one after the other from the given
// time on.
func (p *Plant) Walk(visits []survey.Visit, rng *rand.Rand, begin time.Time) ([]reading.Reading, error) {
	var places []run.Place
	for _, v := range visits {
		for _, name := range []string{v.From, v.To} {
			if v.Quantity == run.Voltage {
				at, err := p.Run.Point(name)
				if err != nil {
					return nil, fmt.Errorf("point %q: %w", name, err)
				}
				places = append(places, at.Place)
			}
		}
	}
	if err := p.Open(places...); err != nil {
		return nil, err
	}
	meter := NewMeter(p.Run.Meters[0], rng)
	var list []reading.Reading
	at := begin
	for k, step := range p.Run.Steps {
		if err := p.Set(k); err != nil {
			return nil, err
		}
		for _, v := range visits {
			x := reading.Reading{Row: len(list) + 2, Time: at, Step: step.Name, Quantity: v.Quantity,
				From: v.From, To: v.To, Meter: p.Run.Meters[0].Name, Unit: unit(v.Quantity)}
			text, value, ok := meter.Indicate(v.Quantity, v.From+" "+v.To, p.True(v))
			if !ok {
				continue
			}
			x.Text, x.Value = text, value
			list = append(list, x)
			at = at.Add(20 * time.Second)
		}
	}
	return list, nil
}

// True is the true value at a visit in the step that was set. Its points must have
// nodes: reel ends, feed ends, supplies, junctions, or places given to Open.
func (p *Plant) True(v survey.Visit) float64 {
	switch v.Quantity {
	case run.Current:
		return p.Amps(p.Run.FeedIndex(v.From))
	case run.Temperature:
		return p.StripCelsius()
	}
	from, _ := p.Run.Point(v.From) // a visit's points are in the run
	to, _ := p.Run.Point(v.To)
	return p.Volts(from, to)
}

func unit(q run.Quantity) string {
	return [...]string{"V", "A", "degC"}[q]
}
