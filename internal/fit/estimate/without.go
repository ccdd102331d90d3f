package estimate

import (
	"math"
	"slices"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/numeric/leastsquares"
	"ohmkeep/internal/numeric/matrix"
	"ohmkeep/internal/verdict"
)

// Part is the contribution of some readings to the knowledge of an element.
type Part struct {
	// Share is the part of the information, one over the variance, that would be lost without them.
	// It is small for readings that can replace each other.
	Share float64
	// Belief is that without them; Known reports whether the other readings still determine the
	// element.
	Belief verdict.Belief
	Known  bool
}

// Without returns what would be known of an element without some readings, by index. It ignores
// readings that were not used. It removes their equations from the linear model at the fit; a new
// fit may differ where much information is lost.
func (e *Estimate) Without(element int, readings []int) Part {
	x, fit := &e.Elements[element], e.X
	e = e.withoutFoilPrior(x.Kind, x.Index)
	part := Part{Belief: x.Belief, Known: x.Known}
	if x.Open || e.Covariance == nil {
		return part
	}
	var rows [][]float64
	var misses []float64
	for i := range e.Observations {
		o := &e.Observations[i]
		if o.Excluded || !slices.Contains(readings, o.Reading) {
			continue
		}
		predicted, row, err := e.Predict(o)
		if err != nil {
			continue
		}
		for j := range row {
			predicted += row[j] * (e.X[j] - fit[j])
			row[j] /= o.Deviation
		}
		rows, misses = append(rows, row), append(misses, (o.Value-predicted)/o.Deviation)
	}
	if len(rows) == 0 {
		return part
	}
	left := leastsquares.NewMatrix(len(rows), len(rows)) // 1 − the readings' leverages
	along := make([]float64, len(rows))
	own := matrix.Times(e.Covariance, x.Row)
	for i, row := range rows {
		lever := matrix.Times(e.Covariance, row)
		along[i] = matrix.Dot(row, own)
		for j := range rows {
			left.Row(i)[j] = -matrix.Dot(rows[j], lever)
		}
		left.Row(i)[i]++
	}
	back := matrix.Inverse(left)
	if back == nil {
		part.Share, part.Known, part.Belief.Deviation = 1, false, math.Inf(1)
		return part
	}
	pull := matrix.Times(back, along)
	before := matrix.Dot(x.Row, own)
	after := before + math.Max(matrix.Dot(pull, along), 0)
	part.Share = 1 - before/after
	part.Belief.Mean -= matrix.Dot(pull, misses)
	part.Belief.Deviation = e.Inflation * math.Sqrt(after)
	part.Known = x.Known && after < model.MaxRemainingDeviation*model.MaxRemainingDeviation*e.PriorVariance(x.Row)
	return part
}

// Source is a source of an element's uncertainty.
type Source int

const (
	Digits          Source = iota // noise and rounding of the readings, and the prior of the division between rails
	Meters                        // the meters' common gain and offset errors
	Pixels                        // the pixels' currents and the duty
	Temperature                   // of the copper
	Supplies                      // their voltages, and the changes from step to step
	OtherConductors               // conductors that no reading determines
	SourceCount                   // number of sources
)

// Budget divides an element's variance among its sources. With the priors taken as readings, the
// variance is the sum of what the error of each reading contributes.
func (e *Estimate) Budget(element int) (shares [SourceCount]float64) {
	x := &e.Elements[element]
	e = e.withoutFoilPrior(x.Kind, x.Index)
	if e.Covariance == nil {
		return shares
	}
	own := matrix.Times(e.Covariance, x.Row)
	whole := matrix.Dot(x.Row, own)
	shares[Digits] = 1
	for i, u := range e.Model.Unknowns {
		from := OtherConductors
		switch u.What {
		case model.Gain, model.Offset:
			from = Meters
		case model.CurrentScale, model.StepCurrentScale, model.CurrentTrend, model.IdleCurrentScale, model.KneeShift, model.StepKneeShift, model.KneeStretch, model.UnlistedShare, model.StepUnlistedScale:
			from = Pixels
		case model.CopperTemperature, model.StepTemperature, model.FeedFollows, model.FeedHeat:
			from = Temperature
		case model.SupplyVolts, model.SupplyOhms, model.StepVolts:
			from = Supplies
		}
		_, deviation := e.Model.PriorOf(e.Assumptions, i)
		part := own[i] * own[i] / (deviation * deviation) / whole
		shares[from] += part
		shares[Digits] -= part
	}
	shares[Digits] = math.Max(shares[Digits], 0)
	return shares
}
