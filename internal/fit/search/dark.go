package search

import (
	"math"
	"slices"

	"ohmkeep/internal/fit/model"
)

// minMissingCurrent is the least part of the stated current that must be missing in every step
// before a dark reel is considered.
const minMissingCurrent = 0.15

// darkReels tests whether a reel that stays dark explains the readings about as well as the best
// explanation, whose score is given, and returns such reels as alternatives. A reel is tested where the
// pixels draw less than stated in every lit step and the missing part of the current is nearer to that
// reel's share than to zero, or where its ends read the same, so that one seems to be read at the other. A
// dark reel between two feeds changes little except the total current, and leaves the current of its
// joints unknown.
func (e explanation) darkReels(least float64) (alternatives []explanation) {
	drawn := math.Log(e.drawnPart())
	if e.Assumptions.DarkReel != model.Absent {
		return nil
	}
	for i := range e.Model.Run.Reels {
		misread := func(x model.Mistake) bool { return x.Kind == model.PlaceMisread && x.A == i }
		lit := math.Log(1 - e.currentShare(i))
		missing := drawn < math.Log(1-minMissingCurrent) && math.Abs(drawn-lit) <= math.Abs(drawn)
		if math.IsInf(lit, -1) || !missing && !slices.ContainsFunc(e.Assumptions.Mistakes, misread) {
			continue
		}
		a := e.Assumptions
		a.DarkReel = i
		a.Mistakes = slices.DeleteFunc(slices.Clone(a.Mistakes), misread)
		other, err := e.solveLimited(a, e.Model.Start(a), longIterations)
		if err == nil {
			other, err = other.withoutOutliers()
		}
		if err == nil && other.score() < least+maxAlternativeCost {
			alternatives = append(alternatives, other)
		}
	}
	return alternatives
}

// drawnPart returns the largest ratio of fitted to stated current of the lit steps with readings;
// 1 without such steps.
func (e explanation) drawnPart() float64 {
	common, most := 0.0, math.Inf(-1)
	lit := e.Model.LitSteps(e.Assumptions)
	for i, u := range e.Model.Unknowns {
		switch {
		case u.What == model.CurrentScale:
			common = e.X[i]
		case u.What == model.StepCurrentScale && u.Step < e.Model.ReadSteps && e.Model.Run.Steps[lit[u.Step]].Lit():
			most = math.Max(most, e.X[i])
		}
	}
	if math.IsInf(most, -1) {
		return 1
	}
	return math.Exp(common + most)
}

// currentShare returns a reel's part of the current of the run's pixels, with all channels at one
// level.
func (e explanation) currentShare(reel int) float64 {
	own, all := 0.0, 0.0
	for i, r := range e.Model.Run.Reels {
		amps := 0.0
		for _, c := range r.Strip.Channels {
			amps += c.Amps * float64(r.Pixels)
		}
		if all += amps; i == reel {
			own = amps
		}
	}
	return own / all
}
