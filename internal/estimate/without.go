package estimate

import (
	"math"
	"slices"

	"ohmkeep/internal/leastsquares"
	"ohmkeep/internal/verdict"
)

// Part is what some readings carry of the knowledge of an element.
type Part struct {
	// Share is the part of the information, which is one over the variance, that would be
	// lost without them. Readings that stand in for each other each have a small one.
	Share float64
	// Belief is that without them; Known, whether the others still tell of the element.
	Belief verdict.Belief
	Known  bool
}

// Without tells how an element would be known without some of the readings, by their
// indices; those that took no part count for nothing. It is the linear model at the fit
// with the rows taken out again: a fit of its own may differ where much is lost.
func (e *Estimate) Without(element int, readings []int) Part {
	p, x := e.problem, &e.Elements[element]
	fit := e.x
	e, done := e.alone(x.Kind, x.Index)
	defer done()
	part := Part{Belief: x.Belief, Known: x.Known}
	if x.Open || e.covariance == nil {
		return part
	}
	var rows [][]float64
	var misses []float64
	for i := range p.observations {
		o := &p.observations[i]
		if o.out || !slices.Contains(readings, o.reading) {
			continue
		}
		row := make([]float64, len(e.x))
		predicted, err := p.predict(o, fit, row)
		if err != nil {
			continue
		}
		for j := range row {
			predicted += row[j] * (e.x[j] - fit[j])
			row[j] /= o.deviation
		}
		rows, misses = append(rows, row), append(misses, (o.value-predicted)/o.deviation)
	}
	if len(rows) == 0 {
		return part
	}
	left := leastsquares.NewMatrix(len(rows), len(rows)) // 1 − the readings' leverages
	along := make([]float64, len(rows))
	own := times(e.covariance, x.row)
	for i, row := range rows {
		lever := times(e.covariance, row)
		along[i] = dot(row, own)
		for j := range rows {
			left.Row(i)[j] = -dot(rows[j], lever)
		}
		left.Row(i)[i]++
	}
	back := inverse(left)
	if back == nil {
		part.Share, part.Known, part.Belief.Deviation = 1, false, math.Inf(1)
		return part
	}
	pull := times(back, along)
	before := dot(x.row, own)
	after := before + math.Max(dot(pull, along), 0)
	part.Share = 1 - before/after
	part.Belief.Mean -= dot(pull, misses)
	part.Belief.Deviation = e.inflation * math.Sqrt(after)
	part.Known = x.Known && after < tells*tells*e.before(x.row)
	return part
}

// Source is what an element's uncertainty comes from.
type Source int

const (
	Digits      Source = iota // the readings' last digits, and how rails share a loop
	Meters                    // the meters' common gain and offset errors
	Pixels                    // what nobody knows of the pixels and the duty
	Temperature               // of the copper
	Supplies                  // their volts, and their sag from step to step
	Nothing                   // that no reading tells of the conductors
	Sources                   // how many there are
)

// Budget shares an element's variance among its sources: with the knowledge beforehand
// taken as readings of its own, the variance is the sum of what each reading's error adds.
func (e *Estimate) Budget(element int) (shares [Sources]float64) {
	x := &e.Elements[element]
	e, done := e.alone(x.Kind, x.Index)
	defer done()
	if e.covariance == nil {
		return shares
	}
	own := times(e.covariance, x.row)
	whole := dot(x.row, own)
	shares[Digits] = 1
	for i, u := range e.problem.unknowns {
		from := Nothing
		switch u.what {
		case gain, offset:
			from = Meters
		case allScale, stepScale, idleScale, allShift, stepShift, allStretch:
			from = Pixels
		case warmth:
			from = Temperature
		case supplyVolts, supplyOhms, stepVolts:
			from = Supplies
		}
		_, deviation := e.problem.priorOf(i)
		part := own[i] * own[i] / (deviation * deviation) / whole
		shares[from] += part
		shares[Digits] -= part
	}
	shares[Digits] = math.Max(shares[Digits], 0)
	return shares
}
