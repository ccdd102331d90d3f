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
	// darkPenalty is added to the cost for a dark reel: rare, since whoever reads sees it.
	darkPenalty = 6.0
)

// tryDarkReels keeps as alternatives the dark reels that explain the readings about as well as the
// best explanation. It considers them where the pixels draw less than stated in every lit step,
// and a reel where the missing part is nearer to its own than to nothing. Between two feeds a dark
// reel changes little but the total, and then the current of its joints is not known.
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

// drawnPart is the greatest part of its stated current that a lit step with readings draws; 1
// where no step is lit.
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

// currentShare is a reel's part of the pixels of the run, weighted with the current of their
// channels.
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
