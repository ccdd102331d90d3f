package ladder

import (
	"math"

	"ohmkeep/internal/network/pixel"
	"ohmkeep/internal/run"
)

// mostStraight is the part of the rated volts within which knees are looked for.
const mostStraight = 0.2

// StraightShift returns the further shift of the knees, V, with which a straight fall below the
// knee takes the same current over the whole run as the cubic one, at the volts of the last
// solution. Readings determine that current, but not the shape. The step and its pixels must be
// those that were solved for. It is 0 where no pixel is below its knee.
func (s *Solver) StraightShift(step run.Step, by pixel.Adjust) float64 {
	r := s.net.run
	total := func(by pixel.Adjust) float64 {
		sum := 0.0
		for i, load := range Loads(r, step, by) {
			for k := range r.Reels[i].Pixels {
				amps, _ := load.Current(s.volts[s.net.offsets[i]+k])
				sum += amps
			}
		}
		return sum
	}
	want, straight := total(by), by
	straight.Shape = pixel.Ramp
	if math.Abs(total(straight)-want) < 1e-9 {
		return 0
	}
	reach := mostStraight * r.Reels[0].Strip.Volts
	low, high := -reach, reach // the current falls as the knees rise
	for range 30 {
		middle := (low + high) / 2
		if straight.Shift = by.Shift + middle; total(straight) > want {
			low = middle
		} else {
			high = middle
		}
	}
	return (low + high) / 2
}
