package ladder

import (
	"math"

	"ohmkeep/internal/network/pixel"
	"ohmkeep/internal/run"
)

// maxStraightShift is the largest shift of a knee that is tried, either way, as a part of the
// rated volts.
const maxStraightShift = 0.2

// StraightShift returns the additional shift of the knees, V, with which a straight fall below the
// knee gives the same total current of the run as the cubic one, at the voltages of the last
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
	most := maxStraightShift * r.Reels[0].Strip.Volts
	low, high := -most, most // the current falls as the knees rise
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
