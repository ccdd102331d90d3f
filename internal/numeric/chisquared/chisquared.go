// Package chisquared has the tail of the chi-squared distribution.
package chisquared

import (
	"math"
)

// Tail is the probability that chi-squared with n degrees of freedom
// exceeds x: Q(n/2, x/2), by series or continued fraction (Abramowitz and Stegun,
// Handbook of Mathematical Functions, 6.5.29 and 6.5.31).
func Tail(x float64, n int) float64 {
	switch {
	case n <= 0 || x <= 0:
		return 1
	case math.IsInf(x, 1) || math.IsNaN(x):
		return 0
	}
	a, y := float64(n)/2, x/2
	logGamma, _ := math.Lgamma(a)
	scale := math.Exp(a*math.Log(y) - y - logGamma)
	if y < a+1 {
		term, sum := 1/a, 1/a
		for k := a + 1; term > sum*1e-16; k++ {
			term *= y / k
			sum += term
		}
		return math.Max(0, 1-scale*sum)
	}
	// Lentz's method for the continued fraction.
	const tiny = 1e-300
	b := y + 1 - a
	c, d := 1/tiny, 1/b
	h := d
	for k := 1.0; k < 1000; k++ {
		an := -k * (k - a)
		b += 2
		d = an*d + b
		if math.Abs(d) < tiny {
			d = tiny
		}
		c = b + an/c
		if math.Abs(c) < tiny {
			c = tiny
		}
		d = 1 / d
		step := d * c
		h *= step
		if math.Abs(step-1) < 1e-15 {
			break
		}
	}
	return math.Min(1, scale*h)
}
