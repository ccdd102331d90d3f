// Package searchtest has a search with known noise for tests.
package searchtest

import (
	"slices"

	"ohmkeep/internal/fit/likelihood"
	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/fit/search"
)

// KnownNoise returns a search that takes the noise of each group of readings as known: its prior
// is so narrow that the readings cannot change it.
func KnownNoise(noise []likelihood.Learned) func(*model.Model) (*search.Outcome, error) {
	const narrow = 1e-6
	return func(m *model.Model) (*search.Outcome, error) {
		known := *m
		known.NoiseGroups = slices.Clone(m.NoiseGroups)
		for i := range known.NoiseGroups {
			known.NoiseGroups[i].Prior = likelihood.Prior{Scatter: noise[i].Scatter, Max: noise[i].Scatter,
				SpreadConstant: narrow, SpreadBelow: narrow, SpreadRelative: narrow}
		}
		return search.Best(&known)
	}
}
