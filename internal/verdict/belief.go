// Package verdict answers a limit with pass, fail or unproven, and says with what
// risk of being wrong (JCGM 106:2012, the conformance probability of clause 7 and
// the guard bands of clause 8). It knows no resistances and no runs.
package verdict

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Coverage95 is the two-sided 95 % factor of the normal distribution.
const Coverage95 = 1.959963984540054

// Belief is what is known of a quantity that cannot be negative: a Gaussian of the
// given mean and standard deviation, cut off at zero. The mean itself may come out
// below zero. A deviation of 0 is perfect knowledge, one of +Inf none at all.
//
// Parts of the error may be known to be even instead: Even are their half-widths, and
// Deviation is that of the whole, these included.
//
// The deviation itself may be known to a factor: Tail is the standard deviation of its
// logarithm, and the belief a mixture of Gaussians of many deviations, which has longer
// tails as Student's distribution has them (JCGM 100:2008, G.3).
type Belief struct {
	Mean, Deviation float64
	Even            [mostEven]float64
	Tail            float64
}

// The points and weights of the Gauss-Hermite rule of five points for the standard normal
// distribution (Abramowitz and Stegun, Handbook of Mathematical Functions, table 25.10, whose
// abscissas are to be multiplied by √2 and weights divided by √π).
var (
	mixturePoints  = [...]float64{-2.8569700138728056, -1.3556261799742657, 0, 1.3556261799742657, 2.8569700138728056}
	mixtureWeights = [...]float64{0.011257411327720691, 0.22207592200561266, 0.53333333333333333, 0.22207592200561266, 0.011257411327720691}
)

// mixed is the mean of a probability over the deviations that a belief may have: Gaussian in
// their logarithm, about a value that is greater than the estimate by Tail², since the
// likelihood of a deviation is skew (that of ν residuals has the median of its logarithm
// above its mode by about 1/(2ν), and Tail² is about that).
func (b Belief) mixed(probability func(Belief) float64) float64 {
	if !(b.Tail > 0) {
		return probability(b)
	}
	sum := 0.0
	one := b
	one.Tail = 0
	for k, x := range mixturePoints {
		one.Deviation = b.Deviation * math.Exp(b.Tail*(x+b.Tail))
		sum += mixtureWeights[k] * probability(one)
	}
	return math.Min(sum, 1)
}

// Bent is a belief whose mean and deviation turned out to be others than a straight
// model had them. Its even parts stay as they are, and shrink with a deviation that
// does: what is more uncertain for being bent counts as Gaussian.
func (b Belief) Bent(mean, deviation float64) Belief {
	by := math.Min(deviation/b.Deviation, 1)
	b.Mean, b.Deviation = mean, deviation
	for k := range b.Even {
		b.Even[k] *= by
	}
	return b
}

// Over is the probability that the quantity is above a limit ≥ 0. It has all its
// digits where it is small. It is NaN where nothing is known, or the belief or the
// limit is no number, so that no verdict follows from it.
func (b Belief) Over(limit float64) float64 {
	switch {
	case !b.sound() || math.IsNaN(limit):
		return math.NaN()
	case limit <= 0 && b.Deviation > 0:
		return 1
	case b.Deviation == 0:
		if math.Max(b.Mean, 0) > limit {
			return 1
		}
		return 0
	}
	if b.Tail > 0 {
		return b.mixed(func(one Belief) float64 { return one.Over(limit) })
	}
	if s := b.spread(); len(s.half) > 0 {
		// Where nearly all of the belief lies below zero the Gaussian is the safer one.
		if positive := s.above(-b.Mean); positive > minPositive {
			return math.Min(s.above(limit-b.Mean)/positive, 1)
		}
	}
	at, zero := (limit-b.Mean)/b.Deviation, -b.Mean/b.Deviation
	if zero < millsFrom {
		return upperTail(at) / upperTail(zero)
	}
	// Both tails may be too small for a float; their ratio is exp(−(at² − zero²)/2) times
	// that of Mills's ratios. The difference of squares is a product, so nothing cancels.
	return math.Exp(-limit/b.Deviation*(at+zero)/2) * mills(at) / mills(zero)
}

// under is 1 − Over, and has its digits where it is small and the mean above zero.
func (b Belief) under(limit float64) float64 {
	if b.Tail > 0 {
		return b.mixed(func(one Belief) float64 { return one.under(limit) })
	}
	if b.Mean <= 0 {
		return 1 - b.Over(limit)
	}
	if s := b.spread(); len(s.half) > 0 {
		return math.Max(s.above(b.Mean-limit)-s.above(b.Mean), 0) / s.above(-b.Mean)
	}
	at, zero := (limit-b.Mean)/b.Deviation, -b.Mean/b.Deviation
	return (upperTail(-at) - upperTail(-zero)) / upperTail(zero)
}

// sound reports whether something is known.
func (b Belief) sound() bool {
	return b.Deviation >= 0 && !math.IsInf(b.Deviation, 1) && !math.IsNaN(b.Mean) && !math.IsInf(b.Mean, -1)
}

// Quantile is the value that the quantity stays below with probability p, 0 < p < 1;
// 0 and +Inf beyond. It is +Inf where nothing is known.
func (b Belief) Quantile(p float64) float64 {
	switch {
	case p <= 0:
		return 0
	case !b.sound() || !(p < 1) || math.IsInf(b.Mean, 1):
		return math.Inf(1)
	case b.Deviation == 0:
		return math.Max(b.Mean, 0)
	}
	beyond := func(x float64) bool { // the side of p that has the more digits
		if p < 0.5 {
			return b.under(x) >= p
		}
		return b.Over(x) <= 1-p
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

// Interval holds the quantity with the given probability or more, 0 < coverage < 1:
// mean ± z·deviation (or what the even parts make of it), cut off at zero, and never so narrow at a mean below zero that
// the Gaussian's upper end would be left out. It is 0 to +Inf where nothing is known.
func (b Belief) Interval(coverage float64) (low, high float64) {
	if !b.sound() {
		return 0, math.Inf(1)
	}
	spread := 0.0
	if b.Deviation > 0 {
		spread = distuv.UnitNormal.Quantile((1+coverage)/2) * b.Deviation
		if len(b.spread().half) > 0 || b.Tail > 0 {
			spread = b.reach((1 - coverage) / 2)
		}
	}
	return math.Max(0, b.Mean-spread), math.Max(b.Mean+spread, b.Quantile((1+coverage)/2))
}

// upperTail is the probability that a standard normal variable exceeds z. Survival of distuv is
// computed as 1 − CDF and loses all digits where the result is small; CDF(−z) keeps them.
func upperTail(z float64) float64 { return distuv.UnitNormal.CDF(-z) }

// minPositive is the least probability of a value above zero with which the even parts are used.
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
