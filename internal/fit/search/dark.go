package search

import (
	"math"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/numeric/leastsquares"
)

const (
	// minMissingCurrent is the least part of the stated current that must be missing in every step
	// before a dark reel is considered.
	minMissingCurrent = 0.15
	// darkPenalty is added to the cost for a dark reel. It is rare, since the operator sees a dark
	// reel.
	darkPenalty = 6.0
)

// tryDarkReels tests whether a reel that stays dark explains the readings about as well as the best
// explanation, and keeps such reels as alternatives. It does so where the pixels draw less than
// stated in every lit step. A reel is tested where the missing part of the current is nearer to
// that reel's share than to zero. A dark reel between two feeds changes little except the total
// current, and leaves the current of its joints unknown.
func (h *hypothesis) tryDarkReels(fit *leastsquares.Fit) {
	drawn := h.drawnPart(fit)
	if h.DarkReel != model.Absent || drawn > 1-minMissingCurrent {
		return
	}
	best := h.penalisedCost(fit)
	for i := range h.Run.Reels {
		lit := math.Log(1 - h.currentShare(i))
		if math.IsInf(lit, -1) || math.Abs(math.Log(drawn)-lit) > math.Abs(math.Log(drawn)) {
			continue
		}
		h.DarkReel = i
		other, err := h.SolveLimited(h.Start(), longIterations)
		if err == nil && h.penalisedCost(other)+darkPenalty < best+maxAlternativeCost {
			h.alternatives = append(h.alternatives, Alternative{DarkReel: i})
		}
	}
	h.DarkReel = model.Absent
}

// drawnPart returns the largest ratio of fitted to stated current of the lit steps with readings;
// 1 without such steps.
func (h *hypothesis) drawnPart(fit *leastsquares.Fit) float64 {
	common, most := 0.0, math.Inf(-1)
	for i, u := range h.Unknowns {
		switch {
		case u.What == model.CurrentScale:
			common = fit.X[i]
		case u.What == model.StepCurrentScale && u.Step < h.ReadSteps && h.Run.Steps[h.LitStep[u.Step]].Lit():
			most = math.Max(most, fit.X[i])
		}
	}
	if math.IsInf(most, -1) {
		return 1
	}
	return math.Exp(common + most)
}

// currentShare returns a reel's part of the current of the run's pixels, with all channels at one
// level.
func (h *hypothesis) currentShare(reel int) float64 {
	own, all := 0.0, 0.0
	for i, r := range h.Run.Reels {
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
