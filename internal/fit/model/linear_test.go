package model

import (
	"math"
	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/numeric/leastsquares"
	"slices"
	"testing"
)

// A foil prior that alone determines a reel cannot be removed, and nothing changes. Where half of
// the information is from it, removing it doubles the variance.
func TestRemoveFoilPrior(t *testing.T) {
	for _, rest := range []float64{0, 0.5} {
		e := &Linear{X: []float64{1, 1, 1}, linearisedAt: []float64{1, 1, 1}, Covariance: leastsquares.NewMatrix(3, 3), Sum: 7}
		a := &prior.FoilPrior{Rails: [2]int{0, 1}, FoilFactor: 2}
		row := make([]float64, 3)
		a.Row(e.X, row)
		v := (1 - rest) / (row[0] * row[0]) // all that is unknown is one rail
		e.Covariance.Row(0)[0] = v
		done := e.RemoveFoilPrior(a)
		want := v
		if rest > 0 {
			want = v / rest
		}
		if done != (rest > 0) || a.Disabled != done || math.Abs(e.Covariance.At(0, 0)-want) > 1e-9*want || e.Sum != 7 || !slices.Equal(e.X, []float64{1, 1, 1}) {
			t.Errorf("with %g from elsewhere: dropped %v, variance %g, want %g; sum %g, %v", rest, done, e.Covariance.At(0, 0), want, e.Sum, e.X)
		}
	}
}
