package trend

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Kendall is the test of Mann (1945) and Kendall (1975) for a trend of any shape.
type Kendall struct {
	N        int
	S        int     // pairs that rise less pairs that fall
	Variance float64 // of S where there is no trend, ties counted
	Ties     bool
}

// MannKendall compares all pairs of values in their order. It takes time with the
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
			k.Ties = true
			total -= pairs(float64(j - i))
		}
		i = j
	}
	k.Variance = total / 18
	return k
}

// Inflated returns the test for values that resemble their neighbours: the variance
// of S grows by a factor ≥ 1, such as Inflation gives.
func (k Kendall) Inflated(factor float64) Kendall {
	k.Variance *= factor
	k.Ties = k.Ties || factor != 1 // the exact distribution holds for independent values
	return k
}

// Z is the standardised S with the correction for continuity; 0 where all are alike.
func (k Kendall) Z() float64 {
	if k.S == 0 || k.Variance <= 0 {
		return 0
	}
	return (math.Abs(float64(k.S)) - 1) / math.Sqrt(k.Variance) * sign(k.S)
}

// exactUpTo is the length up to which the distribution of S is counted out.
const exactUpTo = 12

// P is the probability of an S at least as far from zero, on either side, where
// there is no trend.
func (k Kendall) P() float64 {
	if k.N <= exactUpTo && !k.Ties {
		return min(1, 2*Upper(k.N, max(k.S, -k.S)))
	}
	return 2 * distuv.UnitNormal.CDF(-math.Abs(k.Z()))
}

func sign(n int) float64 {
	if n < 0 {
		return -1
	}
	return 1
}

// Upper is the exact probability that S of n untied values in random order is s or
// more: S = n(n−1)/2 − 2·inversions, and the permutations with a given number of
// inversions are counted by adding one value at a time.
func Upper(n, s int) float64 {
	counts := []float64{1}
	for size := 2; size <= n; size++ {
		next := make([]float64, len(counts)+size-1)
		for i, c := range counts {
			for more := range size {
				next[i+more] += c / float64(size)
			}
		}
		counts = next
	}
	p := 0.0
	for inversions, c := range counts {
		if n*(n-1)/2-2*inversions >= s {
			p += c
		}
	}
	return p
}

// Inflation is the factor by which values that resemble their neighbours widen the
// variance of S (Yue and Wang, Water Resources Management 18 (2004) 201; FROM
// MEMORY): 1 + 2·Σ(1 − k/n)·ρ(k), ρ being the autocorrelation of what is left
// beside the trend. Lags are taken while they differ from nothing (1.645/√n), and at
// most a quarter of the series. It is never below 1.
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
