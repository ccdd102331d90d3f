package planttest

import "math/rand/v2"

// between draws evenly from a range.
func between(rng *rand.Rand, low, high float64) float64 { return low + (high-low)*rng.Float64() }

// about draws a factor evenly from 1 ± spread.
func about(rng *rand.Rand, spread float64) float64 { return 1 + spread*between(rng, -1, 1) }

// normal draws a normal deviate with a standard deviation, cut off at 2.5 of them.
func normal(rng *rand.Rand, deviation float64) float64 {
	for {
		if x := rng.NormFloat64(); x > -2.5 && x < 2.5 {
			return deviation * x
		}
	}
}
