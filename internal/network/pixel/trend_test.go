package pixel

import (
	"math"
	"testing"
)

// A linear trend of 2 % is 2 % less at the first reel and 2 % more at the last. A curved one is the
// same at both ends, and less in the middle. Two reels show no curve, and one shows no trend. The
// mean over the reels is that without a trend.
func TestTrend(t *testing.T) {
	at := func(linear, curved float64, reel, reels int) float64 {
		a := Adjust{Scale: 0.9, Trend: [TrendTerms]float64{linear, curved}}.AtReel(reel, reels)
		if a.Trend != [TrendTerms]float64{} {
			t.Error("the trend would be taken twice")
		}
		return math.Log(a.Scale / 0.9)
	}
	for _, c := range []struct {
		linear, curved float64
		reel, reels    int
		want           float64
	}{
		{0.02, 0, 0, 3, -0.02}, {0.02, 0, 1, 3, 0}, {0.02, 0, 2, 3, 0.02}, {0.02, 0, 1, 5, -0.01},
		{0, 0.02, 0, 3, 0.01}, {0, 0.02, 1, 3, -0.02}, {0, 0.02, 2, 3, 0.01}, {0, 0.02, 2, 5, -0.015},
		{0.02, 0.02, 1, 2, 0.02}, {0.02, 0.02, 0, 1, 0},
	} {
		if got := at(c.linear, c.curved, c.reel, c.reels); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("%g and %g at reel %d of %d: %g, not %g", c.linear, c.curved, c.reel, c.reels, got, c.want)
		}
	}
	for reels := 1; reels < 60; reels++ {
		sum := 0.0
		for reel := range reels {
			sum += at(0.02, 0.02, reel, reels)
		}
		if math.Abs(sum) > 1e-9 {
			t.Errorf("%d reels: the sum of the trend is %g", reels, sum)
		}
	}
}
