package trend

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// The published examples print Z and the two-sided probability of S. They are computed here from
// the S and the variance that drift uses, to check both against the tables.

// normalZ is the standardised S with the continuity correction; 0 where S or its variance is.
func normalZ(k Kendall) float64 {
	if k.S == 0 || k.Variance <= 0 {
		return 0
	}
	return math.Copysign((math.Abs(float64(k.S))-1)/math.Sqrt(k.Variance), float64(k.S))
}

// normalP is the two-sided probability of S in the normal approximation.
func normalP(k Kendall) float64 { return 2 * distuv.UnitNormal.CDF(-math.Abs(normalZ(k))) }

// probability is the two-sided probability of S: exact up to 12 values without ties, else that of
// the normal approximation.
func probability(k Kendall, y []float64) float64 {
	distinct := slices.Compact(slices.Sorted(slices.Values(y)))
	if k.N <= 12 && len(distinct) == k.N {
		return min(1, 2*upper(k.N, max(k.S, -k.S)))
	}
	return normalP(k)
}

// upper is the exact probability that S of n untied values in random order is s or
// more: S = n(n−1)/2 − 2·inversions, and the permutations with a given number of
// inversions are counted by adding one value at a time.
func upper(n, s int) float64 {
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
