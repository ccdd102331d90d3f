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
		a := prior.FoilPrior{Rails: [2]int{0, 1}, FoilFactor: 2}
		e := Linear{Model: &Model{FoilPriors: []prior.FoilPrior{a}}, Assumptions: Assumptions{NoFoilPrior: []bool{false}},
			X: []float64{1, 1, 1}, linearisedAt: []float64{1, 1, 1}, Covariance: leastsquares.NewMatrix(3, 3), Sum: 7}
		row := make([]float64, 3)
		a.Row(e.X, row)
		v := (1 - rest) / (row[0] * row[0]) // all that is unknown is one rail
		e.Covariance.Row(0)[0] = v
		without, done := e.WithoutFoilPrior(0)
		want := v
		if rest > 0 {
			want = v / rest
		}
		if done != (rest > 0) || without.Assumptions.NoFoilPrior[0] != done || math.Abs(without.Covariance.At(0, 0)-want) > 1e-9*want || without.Sum != 7 || !slices.Equal(without.X, []float64{1, 1, 1}) {
			t.Errorf("with %g from elsewhere: dropped %v, variance %g, want %g; sum %g, %v", rest, done, without.Covariance.At(0, 0), want, without.Sum, without.X)
		}
		if e.Covariance.At(0, 0) != v || e.Assumptions.NoFoilPrior[0] {
			t.Error("the linear model with the prior has changed")
		}
	}
}
