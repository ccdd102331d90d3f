// Package verdict answers a limit with pass, fail or unproven, and says with what
// risk of being wrong (JCGM 106:2012, the conformance probability of clause 7 and
// the guard bands of clause 8). It knows no resistances and no runs.
package verdict

import "math"

// Belief is what is known of a quantity that cannot be negative: a Gaussian of the
// given mean and standard deviation, cut off at zero. The mean itself may come out
// below zero.
type Belief struct{ Mean, Deviation float64 }

// Over is the probability that the quantity is above a limit ≥ 0.
func (b Belief) Over(limit float64) float64 {
	switch {
	case math.IsInf(b.Deviation, 1):
		return 1
	case !(b.Deviation > 0):
		if math.Max(b.Mean, 0) > limit {
			return 1
		}
		return 0
	}
	return math.Exp(logTail((limit-b.Mean)/b.Deviation) - logTail(-b.Mean/b.Deviation))
}

// Quantile is the value that the quantity stays below with probability p, 0 < p < 1.
func (b Belief) Quantile(p float64) float64 {
	switch {
	case math.IsInf(b.Deviation, 1):
		return math.Inf(1)
	case !(b.Deviation > 0):
		return math.Max(b.Mean, 0)
	}
	low, high := 0.0, math.Max(b.Mean, 0)+b.Deviation
	for b.Over(high) > 1-p {
		low, high = high, 2*high
	}
	for range 200 {
		middle := (low + high) / 2
		if middle <= low || middle >= high {
			break
		}
		if b.Over(middle) > 1-p {
			low = middle
		} else {
			high = middle
		}
	}
	return high
}

// Interval holds the quantity with the given probability or more: mean ± z·deviation,
// cut off at zero, and never so narrow at a mean below zero that the Gaussian's
// upper end would be left out.
func (b Belief) Interval(coverage float64) (low, high float64) {
	z := math.Sqrt2 * math.Erfinv(coverage)
	low = math.Max(0, b.Mean-z*b.Deviation)
	return low, math.Max(b.Mean+z*b.Deviation, b.Quantile((1+coverage)/2))
}

// logTail is the logarithm of the upper tail of the standard normal distribution,
// also where the tail itself is too small for a float (Abramowitz and Stegun,
// Handbook of Mathematical Functions, 26.2.12).
func logTail(z float64) float64 {
	if z < 25 {
		return math.Log(0.5 * math.Erfc(z/math.Sqrt2))
	}
	i := 1 / (z * z)
	return -z*z/2 - math.Log(z*math.Sqrt(2*math.Pi)) + math.Log1p(-i*(1-3*i*(1-5*i)))
}
