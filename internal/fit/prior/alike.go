package prior

import (
	"math"
)

// Alike is what is known beforehand of a reel's factor from its foil.
type FoilPrior struct {
	Reel       int
	Rails      [2]int // unknowns
	FoilFactor int    // the foil's factor
	Disabled   bool   // left out
}

// Reels of one strip are much alike: what one has over the stated figure the others have
// too, and where its plus has more copper than its minus, so have theirs. Without that
// knowledge a bad minus joint between two feeds can be explained away by a minus foil of
// 84 % before it and one of 117 % behind. What they have in common is two unknowns, a
// factor on the stated Ω/m and how it is shared; each reel lies about them. That one reel is
// of another stock is a thing that happens, so that its square is a light one (lighten).
//
// "The others are good" is no reading, though: a reel that its own readings tell nothing of
// is not held to be like them, its own belief is without them, and how like they are is no
// part of whether the readings are explained.
const (
	foilSpread      = 0.10  // of a reel's factor about that of its foil (common practice, no source)
	foilThreshold   = 1.5   // deviations from which on a square grows like its root
	FoilShareSpread = 0.025 // of a reel's share between its rails about its foil's (the same)
)

// Residual is how far a reel lies from its foil, in deviations, softened, and its
// derivatives by the unknowns it depends on.
func (a FoilPrior) Residual(x []float64) (z float64, rails, whole float64) {
	if a.Disabled {
		return 0, 0, 0
	}
	factor, half := math.Max(x[a.FoilFactor], MinFactor), (x[a.Rails[0]]+x[a.Rails[1]])/2
	z, slope := pseudoHuberLoss((half/factor-1)/foilSpread, foilThreshold)
	rails = slope / (2 * factor * foilSpread)
	if x[a.FoilFactor] > MinFactor {
		whole = -slope * half / (factor * factor * foilSpread)
	}
	return z, rails, whole
}

// Row writes the derivatives by all unknowns.
func (a FoilPrior) Row(x, row []float64) (z float64) {
	z, rails, whole := a.Residual(x)
	clear(row)
	row[a.Rails[0]], row[a.Rails[1]], row[a.FoilFactor] = rails, rails, whole
	return z
}
