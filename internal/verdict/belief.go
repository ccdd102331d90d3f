// Package verdict compares what is known of a quantity with its limit: pass, fail or
// unproven, each with a stated risk of being wrong (JCGM 106:2012: conformance
// probability, clause 7, and guard bands, clause 8). The quantity may be any.
package verdict

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Coverage95 is the two-sided 95 % factor of the normal distribution.
const Coverage95 = 1.959963984540054

// Belief is the probability distribution of a quantity that cannot be negative: a normal
// distribution of the given mean and standard deviation, cut off at zero. The mean may be
// below zero. A deviation of 0 means that the value is known exactly, +Inf that nothing is
// known.
//
// Parts of the error may have rectangular distributions: RectangularHalfWidths are their
// half-widths. Deviation is that of all parts together.
//
// The deviation may be uncertain: DeviationSpread is the standard deviation of its
// logarithm. The distribution is then a mixture of normal distributions with different
// deviations, which has long tails like Student's distribution (JCGM 100:2008, G.3).
type Belief struct {
	Mean, Deviation       float64
	RectangularHalfWidths [maxRectangularParts]float64
	DeviationSpread       float64
}

// The points and weights of the Gauss-Hermite rule of five points for the standard normal
// distribution (Abramowitz and Stegun, Handbook of Mathematical Functions, table 25.10, whose
// abscissas are to be multiplied by √2 and weights divided by √π).
var (
	mixturePoints  = [...]float64{-2.8569700138728056, -1.3556261799742657, 0, 1.3556261799742657, 2.8569700138728056}
	mixtureWeights = [...]float64{0.011257411327720691, 0.22207592200561266, 0.53333333333333333, 0.22207592200561266, 0.011257411327720691}
)

// averageOverDeviations returns the mean of a probability over the distribution of the
// deviation. Its logarithm is normal with a mean DeviationSpread² above that of the estimate,
// because the likelihood of a deviation is skew: for ν residuals the median of the logarithm is
// about 1/(2ν) above the mode, and DeviationSpread² is about that.
func (b Belief) averageOverDeviations(probability func(Belief) float64) float64 {
	if !(b.DeviationSpread > 0) {
		return probability(b)
	}
	sum := 0.0
	one := b
	one.DeviationSpread = 0
	for k, x := range mixturePoints {
		one.Deviation = b.Deviation * math.Exp(b.DeviationSpread*(x+b.DeviationSpread))
		sum += mixtureWeights[k] * probability(one)
	}
	return math.Min(sum, 1)
}

// Near reports whether two beliefs differ by less than a twentieth of a standard deviation.
func (b Belief) Near(other Belief) bool {
	return math.Abs(b.Mean-other.Mean) < nearSigmas*other.Deviation && math.Abs(b.Deviation-other.Deviation) < nearSigmas*other.Deviation
}

const nearSigmas = 0.05

// Rescaled returns the belief with another mean and deviation. The rectangular parts shrink
// with a smaller deviation; a larger one adds a normal part.
func (b Belief) Rescaled(mean, deviation float64) Belief {
	by := math.Min(deviation/b.Deviation, 1)
	b.Mean, b.Deviation = mean, deviation
	for k := range b.RectangularHalfWidths {
		b.RectangularHalfWidths[k] *= by
	}
	return b
}

// ProbabilityAbove returns the probability that the quantity is above a limit ≥ 0, to full
// relative precision also where it is small. It returns NaN where nothing is known, or the mean,
// the deviation or the limit is NaN, so that no verdict follows.
func (b Belief) ProbabilityAbove(limit float64) float64 {
	switch {
	case !b.isKnown() || math.IsNaN(limit):
		return math.NaN()
	case limit <= 0 && b.Deviation > 0:
		return 1
	case b.Deviation == 0:
		if math.Max(b.Mean, 0) > limit {
			return 1
		}
		return 0
	}
	if b.DeviationSpread > 0 {
		return b.averageOverDeviations(func(one Belief) float64 { return one.ProbabilityAbove(limit) })
	}
	if s := b.spread(); len(s.half) > 0 {
		// Where nearly all of the distribution lies below zero, a normal one gives the larger probability.
		if positive := s.above(-b.Mean); positive > minPositive {
			return math.Min(s.above(limit-b.Mean)/positive, 1)
		}
	}
	at, zero := (limit-b.Mean)/b.Deviation, -b.Mean/b.Deviation
	if zero < millsFrom {
		return upperTail(at) / upperTail(zero)
	}
	// Both tails may be too small for a float64. Their ratio is exp(−(at² − zero²)/2) times
	// that of Mills's ratios. The difference of squares is computed as a product, without
	// cancellation.
	return math.Exp(-limit/b.Deviation*(at+zero)/2) * mills(at) / mills(zero)
}

// probabilityBelow returns 1 − ProbabilityAbove, precise where it is small and the mean above zero.
func (b Belief) probabilityBelow(limit float64) float64 {
	if b.DeviationSpread > 0 {
		return b.averageOverDeviations(func(one Belief) float64 { return one.probabilityBelow(limit) })
	}
	if b.Mean <= 0 {
		return 1 - b.ProbabilityAbove(limit)
	}
	if s := b.spread(); len(s.half) > 0 {
		return math.Max(s.above(b.Mean-limit)-s.above(b.Mean), 0) / s.above(-b.Mean)
	}
	at, zero := (limit-b.Mean)/b.Deviation, -b.Mean/b.Deviation
	return (upperTail(-at) - upperTail(-zero)) / upperTail(zero)
}

// isKnown reports whether anything is known of the quantity.
func (b Belief) isKnown() bool {
	return b.Deviation >= 0 && !math.IsInf(b.Deviation, 1) && !math.IsNaN(b.Mean) && !math.IsInf(b.Mean, -1)
}

// Quantile returns the value below which the quantity lies with probability p, 0 < p < 1;
// 0 for p ≤ 0 and +Inf for p ≥ 1. It returns +Inf where nothing is known.
func (b Belief) Quantile(p float64) float64 {
	switch {
	case p <= 0:
		return 0
	case !b.isKnown() || !(p < 1) || math.IsInf(b.Mean, 1):
		return math.Inf(1)
	case b.Deviation == 0:
		return math.Max(b.Mean, 0)
	}
	beyond := func(x float64) bool { // from the tail that is computed more precisely
		if p < 0.5 {
			return b.probabilityBelow(x) >= p
		}
		return b.ProbabilityAbove(x) <= 1-p
	}
	low, high := 0.0, math.Max(b.Mean, 0)+b.Deviation
	for !beyond(high) {
		low, high = high, 2*high
	}
	for {
		middle := low + (high-low)/2
		if middle <= low || middle >= high || high-low <= 1e-16*high {
			return high
		}
		if beyond(middle) {
			high = middle
		} else {
			low = middle
		}
	}
}

// Interval returns an interval that holds the quantity with at least the given probability,
// 0 < coverage < 1: the mean ± as many deviations as the distribution needs, cut off at zero. Its
// upper end is at least the quantile of (1 + coverage)/2, which matters for a mean near or below
// zero. It returns 0 and +Inf where nothing is known.
func (b Belief) Interval(coverage float64) (low, high float64) {
	if !b.isKnown() {
		return 0, math.Inf(1)
	}
	spread := 0.0
	if b.Deviation > 0 {
		spread = distuv.UnitNormal.Quantile((1+coverage)/2) * b.Deviation
		if len(b.spread().half) > 0 || b.DeviationSpread > 0 {
			spread = b.upperQuantile((1 - coverage) / 2)
		}
	}
	return math.Max(0, b.Mean-spread), math.Max(b.Mean+spread, b.Quantile((1+coverage)/2))
}

// upperTail is the probability that a standard normal variable exceeds z. Survival of distuv is
// computed as 1 − CDF and loses all digits where the result is small; CDF(−z) keeps them.
func upperTail(z float64) float64 { return distuv.UnitNormal.CDF(-z) }

// minPositive is the least probability of a value above zero with which the rectangular parts are used.
const minPositive = 1e-6

// millsFrom is the distance from the mean, in standard deviations, from which Mills's ratio is used
// instead of the tail probability, which is 1e-23 there.
const millsFrom = 10

// mills is the upper tail over the density of the standard normal distribution, for
// z ≥ millsFrom: Laplace's continued fraction (Abramowitz and Stegun, Handbook of
// Mathematical Functions, 26.2.14), whose first thirty terms have all digits there.
func mills(z float64) float64 {
	below := z
	for k := 30.0; k > 0; k-- {
		below = z + k/below
	}
	return 1 / below
}
