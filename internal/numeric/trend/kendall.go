package trend

import (
	"math"
	"slices"
)

// Kendall holds the statistic of the trend test of Mann (1945) and Kendall (1975), and its variance.
type Kendall struct {
	N        int
	S        int     // number of rising pairs minus number of falling pairs
	Variance float64 // of S where there is no trend, ties counted
}

// MannKendall returns the statistic of values in the order of time. Its run time grows with the
// square of their number.
func MannKendall(y []float64) Kendall {
	k := Kendall{N: len(y)}
	for i := range y {
		for j := range i {
			switch {
			case y[i] > y[j]:
				k.S++
			case y[i] < y[j]:
				k.S--
			}
		}
	}
	pairs := func(n float64) float64 { return n * (n - 1) * (2*n + 5) }
	total := pairs(float64(len(y)))
	sorted := slices.Clone(y)
	slices.Sort(sorted)
	for i := 0; i < len(sorted); {
		j := i
		for j < len(sorted) && sorted[j] == sorted[i] {
			j++
		}
		if j-i > 1 {
			total -= pairs(float64(j - i))
		}
		i = j
	}
	k.Variance = total / 18
	return k
}

// Inflated returns k with the variance multiplied by a factor ≥ 1, which Inflation computes for
// values that are correlated with their neighbours.
func (k Kendall) Inflated(factor float64) Kendall {
	k.Variance *= factor
	return k
}

// Inflation returns the factor by which autocorrelation increases the variance of S (Yue and
// Wang, Water Resources Management 18 (2004) 201; FROM MEMORY): 1 + 2·Σ(1 − k/n)·ρ(k), where ρ is
// the autocorrelation of rest, the residuals about the trend. The sum ends at the first lag
// whose ρ is not significant (1.645/√n), and at a quarter of the series. It is never below 1.
func Inflation(rest []float64) float64 {
	n := len(rest)
	if n < 8 {
		return 1
	}
	mean := 0.0
	for _, r := range rest {
		mean += r / float64(n)
	}
	at := func(lag int) (sum float64) {
		for i := lag; i < n; i++ {
			sum += (rest[i] - mean) * (rest[i-lag] - mean)
		}
		return sum
	}
	all := at(0)
	if all <= 0 {
		return 1
	}
	factor := 1.0
	for lag := 1; lag <= n/4; lag++ {
		rho := at(lag) / all
		if rho < 1.645/math.Sqrt(float64(n)) {
			break
		}
		factor += 2 * (1 - float64(lag)/float64(n)) * rho
	}
	return factor
}
