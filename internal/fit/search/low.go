package search

import (
	"math"

	"ohmkeep/internal/numeric/matrix"
)

// lowOddsOf returns the prior odds of a reel with a smaller resistance than any strip has; 0 of
// another. Where the readings hardly exclude more, that counts with what it costs.
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
	return math.Min(lowResistance, less*less/matrix.Quadratic(e.Covariance, row))
}

// lowOdds is the sum of lowOddsOf over all reels.
func (e explanation) lowOdds() (sum float64) {
	for reel := range e.Model.Reels {
		sum += e.lowOddsOf(reel)
	}
	return sum
}
