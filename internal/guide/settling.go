package guide

import (
	"math"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
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
