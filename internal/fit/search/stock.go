package search

import (
	"slices"

	"ohmkeep/internal/numeric/parallel"
)

// otherStock returns explanations in which one reel is from another production batch, for each whose
// priors the readings contradict so much that the score may be near the least one, which is given. The
// priors draw such a reel towards what is stated and towards the others of its strip type, and the
// elements beside it away from what they have.
func (e explanation) otherStock(least float64) (list []explanation) {
	most := least + maxAlternativeCost - e.score() - otherStock // by which the score may rise, but for the odds
	if e.Covariance == nil || most < -e.SumSquares {
		return nil
	}
	list = make([]explanation, len(e.Model.Reels))
	parallel.For(len(list), func(reel int) {
		if most < -e.squaresOfReel(reel) {
			return
		}
		other, err := e.solve(e.Assumptions.FromOtherStock(e.Model, reel), e.X)
		if err == nil {
			other, err = other.solveWithNoise(0)
		}
		if err == nil {
			list[reel] = other
		}
	})
	return slices.DeleteFunc(list, func(x explanation) bool { return x.Fit == nil })
}

// squaresOfReel returns by how much the sum of squares falls without the priors of a reel, in the
// linear model.
func (e explanation) squaresOfReel(reel int) float64 {
	var rows [][]float64
	var residuals []float64
	for _, at := range e.Model.Reels[reel] {
		_, deviation := e.Model.PriorOf(e.Assumptions, at)
		row := make([]float64, len(e.X))
		row[at] = 1 / deviation
		rows, residuals = append(rows, row), append(residuals, e.distance(at))
	}
	first := len(e.Observations) + len(e.Model.Splits)
	for i, f := range e.Model.FoilPriors {
		if f.Reel == reel && !e.Assumptions.NoFoilPrior[i] {
			rows, residuals = append(rows, e.Jacobian.Row(first+i)), append(residuals, e.Residuals[first+i])
		}
	}
	return e.squaresOf(rows, residuals)
}
