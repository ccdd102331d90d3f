package search

import (
	"math"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/numeric/matrix"
)

// littleOhmsOf returns the prior odds of a reel with a smaller resistance than any strip has; 0 of
// another. Where the readings hardly exclude more, that counts with what it costs.
func (e explanation) littleOhmsOf(reel int) float64 {
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
	return math.Min(littleOhms, less*less/matrix.Quadratic(e.Covariance, row))
}

// littleOhmsOdds returns the sum over all reels.
func (e explanation) littleOhmsOdds() (sum float64) {
	for reel := range e.Model.Reels {
		sum += e.littleOhmsOf(reel)
	}
	return sum
}

// withLittleOhms lists the reels with a smaller resistance than any strip has.
func (e explanation) withLittleOhms() (reels []int) {
	for reel := range e.Model.Reels {
		if e.littleOhmsOf(reel) >= littleOhms/2 {
			reels = append(reels, reel)
		}
	}
	return reels
}

// misreadPlaces returns explanations in which both ends of a reel were read at one of them in every
// step, for each reel that has less copper than any strip by the explanation or by another that is not far
// worse.
func (e explanation) misreadPlaces(others []explanation) (list []explanation) {
	seen, most := map[int]bool{}, e.score()+maxFarWorse
	for _, e := range append([]explanation{e}, others...) {
		if e.score() > most {
			continue
		}
		for _, reel := range e.withLittleOhms() {
			if !seen[reel] {
				seen[reel] = true
				list = append(list, e.misreadEnds(reel)...)
			}
		}
	}
	return list
}

// maxFarWorse is by how much the score of such another explanation may exceed that of the best one: by
// as much as some bad elements and wrong readings cost (common practice, no source).
const maxFarWorse = 60.0

// misreadEnds returns those of one reel, where the readings of its ends are equal in every step.
func (e explanation) misreadEnds(reel int) (list []explanation) {
	start := model.Mistake{Kind: model.PlaceMisread, A: reel, B: 1}
	end := model.Mistake{Kind: model.PlaceMisread, A: reel, B: e.Model.Run.Reels[reel].Pixels}
	if !e.readEqually(start, end) {
		return nil
	}
	for _, x := range []model.Mistake{start, end} {
		a := e.Model.Assume().Correcting(x)
		fit, err := model.Solve(e.Model, a, e.Model.Start(a))
		if err != nil {
			continue
		}
		if other, err := explain(fit, nil).withoutOutliers(); err == nil {
			list = append(list, other)
		}
	}
	return list
}

// readEqually reports whether the readings of two places agree within their noise in every step in which
// both were read, and there are such steps.
func (e explanation) readEqually(a, b model.Mistake) bool {
	pairs := 0
	for _, x := range e.Observations {
		for _, y := range e.Observations {
			if x.Step != y.Step || !a.Affects(&x) || !b.Affects(&y) {
				continue
			}
			if pairs++; math.Abs(x.Value-y.Value) > outlierSigmas*math.Hypot(x.Deviation, y.Deviation) {
				return false
			}
		}
	}
	return pairs > 0
}
