package estimate

import (
	"math"

	"ohmkeep/internal/numeric/matrix"
)

// ShiftTo returns by how much each unknown differs from its estimate when element i is held at a
// value in ohms (per metre for a reel), and how many standard deviations away that is. Where the sum
// of squares is no parabola, the other unknowns are fitted again. ok is false where nothing is known
// of the element.
func (e *Estimate) ShiftTo(i int, ohms float64) (shifts []float64, sigmas float64, ok bool) {
	p := e.Profile(i)
	along := matrix.Times(p.est.Covariance, p.x.Row)
	variance := matrix.Dot(p.x.Row, along)
	if _, known := p.raw(); !known || !(variance > 0) {
		return nil, 0, false
	}
	target := p.x.Scale(ohms)
	shifts = make([]float64, len(along))
	if start, parabolic := p.checkParabola(target); !parabolic {
		if rise, at, ok := p.riseTo(target, start); ok {
			for k := range shifts {
				shifts[k] = at[k] - p.est.X[k]
			}
			return shifts, math.Sqrt(math.Max(rise, 0)), true
		}
	}
	distance := target - p.base()
	for k := range shifts {
		shifts[k] = along[k] * distance / variance
	}
	return shifts, math.Abs(distance) / math.Sqrt(variance), true
}
