// Package chisquared has the tail of the chi-squared distribution.
package chisquared

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Tail returns the probability that chi-squared with n degrees of freedom exceeds x. It is
// 1 for n ≤ 0 or x ≤ 0, and 0 where x is infinite or not a number.
func Tail(x float64, n int) float64 {
	switch {
	case n <= 0 || x <= 0:
		return 1
	case math.IsInf(x, 1) || math.IsNaN(x):
		return 0
	}
	return distuv.ChiSquared{K: float64(n)}.Survival(x)
}
