package prior

import (
	"math"
)

// FoilPrior is the prior of a reel's resistance factor from the reels of the same strip type.
type FoilPrior struct {
	Reel       int
	Rails      [2]int // unknowns
	FoilFactor int    // unknown
}

// Reels of one strip type are similar: they have nearly the same ratio of real to stated
// resistance, and of plus to minus. Without this prior, a bad minus joint between two feeds could
// be explained by a minus foil of 84 % before it and one of 117 % after it. Two unknowns are common
// to the reels of a type: a factor on the stated Ω/m and the share of the rails. Each reel scatters
// about them. A reel may be from another production batch, so its residual has the pseudo-Huber
// loss.
//
// The prior is not a reading: a reel that its own readings do not determine is estimated without
// it, and its residual is not in chi-squared.
const (
	foilSpread      = 0.10  // relative, of a reel's factor about that of its foil (common practice, no source)
	foilThreshold   = 1.5   // standard deviations from which the loss grows linearly
	FoilShareSpread = 0.025 // of a reel's share of the rails about that of its foil (common practice, no source)
)

// normalisedResidual returns the residual of the reel, with the pseudo-Huber loss, and its derivatives by
// each rail and by the foil factor.
func (a FoilPrior) normalisedResidual(x []float64) (z float64, railSlope, foilSlope float64) {
	factor, half := math.Max(x[a.FoilFactor], MinFactor), (x[a.Rails[0]]+x[a.Rails[1]])/2
	z, slope := pseudoHuberLoss((half/factor-1)/foilSpread, foilThreshold)
	railSlope = slope / (2 * factor * foilSpread)
	if x[a.FoilFactor] > MinFactor {
		foilSlope = -slope * half / (factor * factor * foilSpread)
	}
	return z, railSlope, foilSlope
}

// Residual returns the residual and its derivatives by the unknowns.
func (a FoilPrior) Residual(x []float64) (z float64, by Derivatives) {
	z, railSlope, foilSlope := a.normalisedResidual(x)
	return z, Derivatives{{a.Rails[0], railSlope}, {a.Rails[1], railSlope}, {a.FoilFactor, foilSlope}}
}

// Row writes the derivatives by all unknowns to row and returns the residual.
func (a FoilPrior) Row(x, row []float64) (z float64) {
	z, by := a.Residual(x)
	clear(row)
	by.AddTo(row, 1)
	return z
}
