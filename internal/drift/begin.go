package drift

import (
	"math"

	"ohmkeep/internal/numeric/changepoint"
	"ohmkeep/internal/numeric/trend"
)

// beginJump begins a stretch at a jump, and returns the shape to report: none if a sensor or another
// element caused it.
func (s *State) beginJump(t *track, p *piece, c changepoint.Course) []string {
	at := (p.points[c.At-1].At + p.points[c.At].At) / 2
	called := p.points[len(p.points)-1].At
	if s.isSensors(t, p, c.At) {
		t.Stretch = append(t.Stretch, stretch{At: at, Cause: replaced, Called: called, Text: "a sensor's error has changed"})
		return nil
	}
	if s.currentMoved(t, at, c.Size > 0) {
		t.Stretch = append(t.Stretch, stretch{At: at, Cause: shifted, Called: called, Text: shiftText})
		return nil
	}
	t.Stretch = append(t.Stretch, stretch{At: at, Cause: jumped, Called: called})
	return []string{"step"}
}

const shiftText = "current has moved from one conductor to the other, because something else changed"

// beginRamp begins a stretch where a slope begins or changes.
func (s *State) beginRamp(t *track, p *piece, c changepoint.Course) []string {
	last := &t.Stretch[len(t.Stretch)-1]
	at, called := p.points[c.At].At, p.points[len(p.points)-1].At
	if s.currentMoved(t, at, c.Size > 0) {
		t.Stretch = append(t.Stretch, stretch{At: at, Cause: shifted, Sloped: true, Called: called, Text: shiftText})
		return nil
	}
	if !last.Sloped || last.Cause == shifted {
		t.Stretch = append(t.Stretch, stretch{At: at, Cause: ramped, Sloped: true, Called: called})
		return []string{"ramp"}
	}
	// The ramp continues with another slope. It has ended where the new slope is not significant.
	after := trend.LeastSquares(p.x[c.At:], p.y[c.At:], p.w[c.At:])
	_, least := s.least(t)
	still := math.Abs(after.Slope) < 3*after.SlopeError || math.Abs(after.Slope)*365 < least
	t.Stretch = append(t.Stretch, stretch{At: at, Cause: levelled, Sloped: !still, Called: called})
	return nil
}
