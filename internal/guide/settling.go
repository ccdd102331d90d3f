package guide

import (
	"math"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// settling is the newest values of a display at one place.
type settling struct {
	samples []reading.Sample
	stays   bool    // the display has not changed since the place before, so that the leads may still be there
	before  float64 // what it showed there, SI
}

// leavePart and leaveCounts are how far a display must change to show that the leads have left a place: a part of the
// value, and counts of the display beside it (common practice, no source).
const (
	leavePart   = 0.02
	leaveCounts = 10.0
)

// next returns the settling at the next place. Where the leads are to move, the value of the place before does not
// settle: it would be taken for that of the next place. Whether the leads have moved is known only by the display.
func (s *settling) next(moves bool) settling {
	if n := len(s.samples); n > 0 && moves {
		return settling{stays: true, before: s.samples[n-1].Value}
	}
	return settling{stays: s.stays, before: s.before}
}

// add adds a value and returns whether the display is settled, and why it is not.
func (s *settling) add(x reading.Sample, resolution, contact float64) (settled bool, why string) {
	if !x.Good() {
		*s = settling{}
		return false, x.Fault
	}
	if math.Abs(x.Value-s.before) > leaveCounts*resolution+leavePart*math.Abs(s.before) {
		s.stays = false
	}
	s.samples = append(s.samples, x)
	for len(s.samples) > settleSamples && x.Time.Sub(s.samples[1].Time) >= settleTime {
		s.samples = s.samples[1:]
	}
	if math.Abs(x.Value) < contact {
		s.stays = false
		return false, "hardly any voltage: are both tips on bare metal?"
	}
	if s.stays {
		return false, "still as at the place before: move the leads, or take it by hand"
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
