package verdict

import (
	"math"
	"sort"
)

// Distribution is the probability distribution of a quantity that is at least zero, under one
// explanation of the readings. It is a belief on a stretched scale: Points gives values of the
// quantity with the values of the belief's scale at which the likelihood is the same (the signed root
// of the likelihood ratio). Both increase. Between two points the scale is linear; without points it
// is the quantity itself. The best value is the same on both.
type Distribution struct {
	Belief
	Points []Point
}

// Point is a value of a quantity with the value on the scale of its belief.
type Point struct{ Value, Normal float64 }

// normal returns the value on the belief's scale.
func (d Distribution) normal(value float64) float64 {
	if len(d.Points) < 2 {
		return value
	}
	a, b := d.around(func(p Point) float64 { return p.Value }, value)
	return a.Normal + (value-a.Value)*(b.Normal-a.Normal)/(b.Value-a.Value)
}

// value is the inverse of normal. It is infinite where the likelihood falls no further.
func (d Distribution) value(normal float64) float64 {
	if len(d.Points) < 2 || math.IsInf(normal, 0) {
		return normal
	}
	a, b := d.around(func(p Point) float64 { return p.Normal }, normal)
	if !(b.Normal > a.Normal) {
		return math.Copysign(math.Inf(1), normal-a.Normal)
	}
	return a.Value + (normal-a.Normal)*(b.Value-a.Value)/(b.Normal-a.Normal)
}

// around returns the two points between which a coordinate lies, or the nearest two.
func (d Distribution) around(of func(Point) float64, at float64) (a, b Point) {
	k := sort.Search(len(d.Points), func(i int) bool { return of(d.Points[i]) >= at })
	k = min(max(k, 1), len(d.Points)-1)
	return d.Points[k-1], d.Points[k]
}

// fromZero returns the belief on its own scale, moved so that the quantity is zero at 0.
func (d Distribution) fromZero() (b Belief, zero float64) {
	b, zero = d.Belief, d.normal(0)
	b.Mean -= zero
	return b, zero
}

// ProbabilityAbove returns the probability that the quantity is above a limit ≥ 0; NaN where nothing
// is known. That it is not below zero counts where it makes a value above the limit more probable
// than the readings do, and not as evidence that the limit is exceeded.
func (d Distribution) ProbabilityAbove(limit float64) float64 {
	b, zero := d.fromZero()
	if above := d.normal(limit) - zero; above > b.Mean || limit <= 0 || !b.isKnown() || b.Deviation == 0 {
		return b.ProbabilityAbove(math.Max(above, 0))
	}
	return 1 - d.below(limit)
}

// below returns the probability of a value below x if values below zero were possible.
func (d Distribution) below(x float64) float64 {
	at := d.normal(x)
	return d.averageOverDeviations(func(one Belief) float64 { return one.spread().above(one.Mean - at) })
}

// Interval returns an interval that holds the quantity with at least the given probability, as that
// of the belief: 0 and +Inf where nothing is known.
func (d Distribution) Interval(coverage float64) (low, high float64) {
	b, zero := d.fromZero()
	low, high = b.Interval(coverage)
	if len(d.Points) < 2 {
		return low, high
	}
	return math.Max(d.value(low+zero), 0), math.Max(d.value(high+zero), 0)
}

// DeviationTowards returns the standard deviation of a normal distribution about the best value that
// has the same probability above a value; +Inf where that value is as probable as the best one.
func (d Distribution) DeviationTowards(value float64) float64 {
	distance := d.normal(value) - d.Mean
	if len(d.Points) < 2 || value == d.Mean {
		return d.Deviation
	}
	return math.Abs(value-d.Mean) / math.Abs(distance) * d.Deviation
}
