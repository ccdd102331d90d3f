package pixel

import "math"

// TrendTerms is the number of terms of a trend of the currents along a run: a linear and a curved one.
const TrendTerms = 2

// maxTrend limits the logarithm of the factor that a trend gives a reel, either way.
const maxTrend = 1.0

// AtReel returns the adjustment of one reel of a run of so many, which has no trend left: the
// trend's factor at that reel is in its Scale.
func (a Adjust) AtReel(reel, reels int) Adjust {
	sum := 0.0
	for term, size := range a.Trend {
		sum += size * TrendAt(term, reel, reels)
	}
	a.Scale *= math.Exp(min(max(sum, -maxTrend), maxTrend))
	a.Trend = [TrendTerms]float64{}
	return a
}

// TrendAt returns a term of the trend at one reel of so many: u, or (3u² − 1)/2 less its mean over
// the reels, where u runs from −1 at the first reel to 1 at the last. These are Legendre's
// polynomials, whose mean over the reels is 0, so that a trend leaves the mean current as it is. The
// value is 0 where the run has too few reels to show the term.
func TrendAt(term, reel, reels int) float64 {
	if reels < term+2 {
		return 0
	}
	last := float64(reels - 1)
	u := 2*float64(reel)/last - 1
	if term == 0 {
		return u
	}
	return (3*u*u - (last+2)/last) / 2 // the mean of u² over the reels is (last + 2)/(3·last)
}
