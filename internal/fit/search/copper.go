package search

import (
	"math"

	"ohmkeep/internal/numeric/matrix"
)

// lowOddsOf returns the prior odds of a reel with a smaller resistance than a strip has, which grow with
// the square of the difference; 0 of another. Where the readings hardly exclude more, that costs less.
func (e explanation) lowOddsOf(reel int) float64 {
	if e.Covariance == nil || e.Model.Run.Reels[reel].Strip.LoopOhms == 0 {
		return 0
	}
	rails := e.Model.Reels[reel]
	row := make([]float64, len(e.X))
	row[rails[0]], row[rails[1]] = 0.5, 0.5
	less := minReelPart - matrix.Dot(row, e.X)
	if less <= 0 {
		return 0
	}
	return less * less / (matrix.Quadratic(e.Covariance, row) + lowReelSpread*lowReelSpread)
}

// highCopperOdds returns the prior odds of strip types with much more resistance than stated, each once for
// all its reels: they are of one production batch.
func (e explanation) highCopperOdds() (sum float64) {
	if e.Covariance == nil {
		return 0
	}
	seen := map[int]bool{} // by unknown of the foil
	for _, f := range e.Model.FoilPriors {
		if above := e.X[f.FoilFactor] - maxReelPart; above > 0 && !seen[f.FoilFactor] {
			seen[f.FoilFactor] = true
			sum += math.Min(badElement, above*above/e.Covariance.At(f.FoilFactor, f.FoilFactor))
		}
	}
	return sum
}

// lowOdds is the sum of lowOddsOf over all reels.
func (e explanation) lowOdds() (sum float64) {
	for reel := range e.Model.Reels {
		sum += e.lowOddsOf(reel)
	}
	return sum
}
