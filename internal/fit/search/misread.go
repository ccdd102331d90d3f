package search

import (
	"math"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/numeric/matrix"
)

// costOfMisread returns the change of the cost, in the linear model, when the readings of a place are taken for
// those of another one: each leaves the fit, and enters it there. shift is the change of the unknowns. at is the
// network at the fit.
func (e explanation) costOfMisread(x model.Mistake, at *model.Point) (cost float64, shift []float64) {
	c := matrix.Updated{Covariance: matrix.Dense{Matrix: e.Covariance}}
	shift = make([]float64, len(e.X))
	corrected := e.Model.Under(e.Assumptions.Correcting(x))
	for i := range e.Observations {
		o := &e.Observations[i]
		if !x.Affects(o) || o.ExcludedForGood {
			continue
		}
		if o.Excluded {
			cost -= wrongReading
		} else {
			row := matrix.SparseOf(e.Jacobian.Row(i), 0)
			residual, along := e.Residuals[i]+row.Dot(shift), c.TimesSparse(row)
			if rest := 1 - row.Dot(along); rest > leastRest {
				cost -= residual * residual / rest
				matrix.AddTo(shift, along, residual/rest)
			}
			c.Remove(row)
		}
		slopes := make([]float64, len(e.X))
		predicted, err := at.Predict(&corrected[i], slopes)
		if err != nil {
			return math.Inf(1), shift
		}
		for j := range slopes {
			slopes[j] /= -o.Deviation
		}
		row := matrix.SparseOf(slopes, 0)
		residual, along := (o.Value-predicted)/o.Deviation+row.Dot(shift), c.TimesSparse(row)
		spread := 1 + row.Dot(along)
		if square := residual * residual / spread; !o.Excluded || square < wrongReading {
			cost += square
			matrix.AddTo(shift, along, -residual/spread)
			c.Add(row)
		} else {
			cost += wrongReading
		}
	}
	return cost, shift
}

// leastRest is the least part of a reading's variance that other readings leave where they determine its value.
const leastRest = 1e-9
