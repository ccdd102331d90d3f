package estimate

import (
	"slices"

	"ohmkeep/internal/numeric/matrix"
)

// DividedAs returns the estimate with its covariance as if some elements had other resistances, ohms
// by element index: what lies beyond a usual resistance may all be in one conductor, so that the
// division between the rails of a bad joint or feed is less certain than that of a sound one.
func (e *Estimate) DividedAs(ohms map[int]float64) *Estimate {
	v := *e
	v.Covariance = e.Covariance.Clone()
	row := make([]float64, len(e.X))
	for i := range e.Elements {
		x := &e.Elements[i]
		bad, is := ohms[i]
		if !is || x.split == nil {
			continue
		}
		x.split.Row(e.X, row)
		matrix.Widen(v.Covariance, row)
		x.split.Row(e.Model.StartHeldAt(x.split, x.Scale(bad), slices.Clone(e.X)), row)
		matrix.Narrow(v.Covariance, row)
	}
	return &v
}
