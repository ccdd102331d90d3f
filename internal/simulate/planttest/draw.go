package planttest

import "math/rand/v2"

// between draws evenly from a range.
func between(rng *rand.Rand, low, high float64) float64 { return low + (high-low)*rng.Float64() }
