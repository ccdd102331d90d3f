package verdict

import "math"

// maxRectangularParts is the number of rectangular parts of an error.
const maxRectangularParts = 3

// spread is the distribution of an error: the sum of a normal part and rectangular ones.
// A meter's gain error is always within its limits. Where one such error is larger than the
// rest, ±1.96 standard deviations hold far more than 95 % (JCGM 100:2008, G.2.3;
// JCGM 101:2008 for the sum).
type spread struct {
	gauss float64   // standard deviation of the normal part
	half  []float64 // half-widths of the rectangular parts
}

// spread returns the parts of the error.
func (b Belief) spread() spread {
	s := spread{}
	left := b.Deviation * b.Deviation
	for _, half := range b.RectangularHalfWidths {
		if half > 0 {
			s.half = append(s.half, half)
			left -= half * half / 3
		}
	}
	least := 0.0
	for _, half := range s.half {
		least = math.Max(least, minGaussianShare*half)
	}
	s.gauss = math.Max(math.Sqrt(math.Max(left, 0)), least)
	return s
}

// minGaussianShare is the least standard deviation of the normal part, as a part of each
// half-width. It changes probabilities by less than their third digit.
const minGaussianShare = 0.02

// above returns the probability that the error exceeds x. The convolution of a normal
// distribution with n rectangular ones of half-widths a is a sum over the 2ⁿ corners
// ±a ± … of the n-fold integral of the normal tail (Abramowitz and Stegun, Handbook of Mathematical
// Functions, 7.2.1 and 7.2.5).
func (s spread) above(x float64) float64 {
	n := len(s.half)
	if n == 0 {
		return upperTail(x / s.gauss)
	}
	sum := 0.0
	for corner := range 1 << n {
		at, sign := x, 1.0
		for i, half := range s.half {
			if corner>>i&1 == 0 {
				at -= half
			} else {
				at += half
				sign = -sign
			}
		}
		sum += sign * iteratedTail(n, at/s.gauss)
	}
	for _, half := range s.half {
		sum *= s.gauss / (2 * half)
	}
	return math.Min(math.Max(sum, 0), 1)
}

// iteratedTail returns the n-fold integral of the standard normal tail from z upwards.
func iteratedTail(n int, z float64) float64 {
	before, now := math.Exp(-z*z/2)/math.Sqrt(2*math.Pi), upperTail(z)
	for k := 1; k <= n; k++ {
		before, now = now, (before-z*now)/float64(k)
	}
	return now
}

// upperQuantile returns the value that the error exceeds with probability p < 1/2.
func (b Belief) upperQuantile(p float64) float64 {
	above := func(x float64) float64 {
		return b.averageOverDeviations(func(one Belief) float64 { return one.spread().above(x) })
	}
	low, high := 0.0, b.Deviation
	for above(high) > p {
		low, high = high, 2*high
	}
	for range 60 {
		middle := (low + high) / 2
		if above(middle) > p {
			low = middle
		} else {
			high = middle
		}
	}
	return high
}
