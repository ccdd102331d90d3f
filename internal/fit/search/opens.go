package search

import (
	"math"
	"slices"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/numeric/leastsquares"
	"ohmkeep/internal/numeric/matrix"
	"ohmkeep/internal/run"
	"ohmkeep/internal/verdict"
)

// Open conductors are tested separately, because the sum of squares has two minima: one at a high
// resistance and one at an open conductor. A fit that starts at a sound joint ends at the first.
const (
	// openCandidateOhms is the loop resistance, Ω, from which an element is tested for an open
	// conductor although the readings are explained. A feed is tested from twice its stated
	// resistance if that is more.
	openCandidateOhms = 0.25
	// minOpenGain is how much an open conductor must lower the cost where the fit gives no high
	// resistance: 10 is a likelihood ratio of 150.
	minOpenGain = 10.0
	// maxOpenCost is the largest increase of the cost with which a conductor of an element above
	// openCandidateOhms is still taken as open: that explains the readings with one unknown less.
	maxOpenCost = 2.0
	// openSigmas is the number of standard deviations by which such an element must be above zero.
	openSigmas = 1.6
	// maxReelRatio bounds the ratio of a reel's resistance to its stated one, either way (common
	// practice, no source).
	maxReelRatio = 2.5
	// openPenalty is added to the penalised cost for an open conductor. withOpenConductors has
	// already required minOpenGain; the final comparison allows maxOpenCost.
	openPenalty     = -maxOpenCost
	maxOpens        = 3  // open conductors in one run
	trialIterations = 15 // of a first fit with a conductor open
)

// OpenConductor is a conductor held open.
type OpenConductor struct {
	Unknown    int     // index of the conductor's unknown
	Split      int     // index of its element's split, disabled while the conductor is open
	LowerBound float64 // Ω, of the 95 % interval
	RailKnown  bool    // the readings show which of the two rails is open
}

// withOpenConductors holds open, one by one, the conductors that lower the cost enough, and fits
// again after each.
func (h *hypothesis) withOpenConductors(fit *leastsquares.Fit) *leastsquares.Fit {
	for range maxOpens {
		scores := map[int]float64{}
		var best OpenConductor
		var bestFit *leastsquares.Fit
		bestScore, cost := 0.0, h.cost(fit)
		for _, c := range h.openCandidates(fit) {
			trial, err := h.tryOpen(c, fit, trialIterations)
			if err != nil {
				continue // this part of the run would have no supply
			}
			opened := h.cost(trial)
			score := cost - opened - minOpenGain
			if h.mayBeOpen(c, fit) && score > -minOpenGain-maxOpenCost {
				score = h.costAsStated(c, fit) - opened - minOpenGain
			}
			scores[c.Unknown] = score
			if score > bestScore {
				best, bestFit, bestScore = c, trial, score
			}
		}
		if bestFit == nil {
			break
		}
		best.RailKnown = true
		for _, other := range h.Splits[best.Split].Rails {
			if s, tried := scores[other]; tried && other != best.Unknown && s > bestScore-minOpenGain/2 {
				best.RailKnown = false
			}
		}
		h.holdOpen(best)
		h.open = append(h.open, best)
		if settled, err := h.Solve(bestFit.X); err == nil {
			bestFit = settled
		}
		fit = bestFit
	}
	return fit
}

// openCandidates lists the conductors to test: all where the readings are not explained or a reel
// has an impossible resistance, otherwise those of elements with a high resistance.
func (h *hypothesis) openCandidates(fit *leastsquares.Fit) []OpenConductor {
	poor := !h.plausible(fit) || h.hasImpossibleReel(fit)
	var list []OpenConductor
	for s := range h.Splits {
		if !h.Splits[s].Transformed {
			continue
		}
		for _, at := range h.Splits[s].Rails {
			c := OpenConductor{Unknown: at, Split: s}
			if h.Splits[s].Disabled || !poor && !h.mayBeOpen(c, fit) || h.clampShowsCurrent(at) {
				continue
			}
			list = append(list, c)
		}
	}
	return list
}

// clampShowsCurrent reports whether a conductor is the plus of a feed in which a clamp meter
// measured current: at least half of the feed's current readings exceed the clamp's error limit.
// That conductor is not open. The minus may be, since current can return through another feed.
func (h *hypothesis) clampShowsCurrent(at int) bool {
	feed := slices.IndexFunc(h.Feeds, func(rails [2]int) bool { return rails[run.Plus] == at })
	if feed < 0 {
		return false
	}
	some, all := 0, 0
	for _, o := range h.Observations {
		if o.Feed != feed || o.ExcludedForGood {
			continue
		}
		all++
		limits := h.MeterRanges[o.MeterRange].Limits
		if math.Abs(o.Value) > limits.Fraction*math.Abs(o.Value)+(limits.Counts+1)*limits.Resolution {
			some++
		}
	}
	return some > 0 && 2*some >= all
}

// hasImpossibleReel reports whether a fit has a reel with less or more copper than any strip
// sold. Behind an open feed, a reel with no resistance can explain the equal voltages along it.
func (h *hypothesis) hasImpossibleReel(fit *leastsquares.Fit) bool {
	for i, at := range h.Reels {
		if h.Run.Reels[i].Strip.LoopOhms == 0 {
			continue
		}
		if half := (fit.X[at[0]] + fit.X[at[1]]) / 2; half < 1/maxReelRatio || half > maxReelRatio {
			return true
		}
	}
	return false
}

// mayBeOpen reports whether an element has a high resistance that is significantly above zero, or
// a high resistance and a reading across it above the meter's error limit. The second test is
// needed because almost no current flows there, so the resistance itself is uncertain.
func (h *hypothesis) mayBeOpen(c OpenConductor, fit *leastsquares.Fit) bool {
	t, row := prior.Loop(h.Splits[c.Split].Rails, fit.X)
	stated := 0.0
	for _, at := range h.Splits[c.Split].Rails {
		stated += prior.ToOhms(h.Unknowns[at].Mean)
	}
	if t < prior.Transform(max(openCandidateOhms, 2*stated)) || fit.Covariance == nil {
		return false
	}
	return h.exceedsMeterError(c) || t > openSigmas*math.Sqrt(math.Max(matrix.Quadratic(fit.Covariance, row), 0))
}

// exceedsMeterError reports whether a voltage across either conductor of a joint is more than
// twice the meter's offset error limit.
func (h *hypothesis) exceedsMeterError(c OpenConductor) bool {
	joint := slices.IndexFunc(h.Joints, func(rails [2]int) bool { return rails == h.Splits[c.Split].Rails })
	if joint < 0 {
		return false
	}
	j := h.Run.Joints[joint]
	end := run.Place{Kind: run.AtReel, Index: j.From, Pixel: h.Run.Reels[j.From].Pixels}
	start := run.Place{Kind: run.AtReel, Index: j.To, Pixel: 1}
	return slices.ContainsFunc(h.Observations, func(o model.Observation) bool {
		over := o.From.Place == end && o.To.Place == start || o.From.Place == start && o.To.Place == end
		limits := h.MeterRanges[o.MeterRange].Limits
		return !o.Excluded && o.Feed == model.Absent && over && math.Abs(o.Value) > 2*(limits.Counts+1)*limits.Resolution
	})
}

// costAsStated returns the cost with both rails of an element held at their stated values; +Inf
// where that cannot be fitted.
func (h *hypothesis) costAsStated(c OpenConductor, fit *leastsquares.Fit) float64 {
	near := append([]float64(nil), fit.X...)
	for _, at := range h.Splits[c.Split].Rails {
		h.HeldOpen[at], h.HeldValue[at] = true, h.Unknowns[at].Mean
		near[at] = h.Unknowns[at].Mean
	}
	sound, err := h.Solve(near)
	cost := math.Inf(1)
	if err == nil {
		cost = h.cost(sound)
	}
	for _, at := range h.Splits[c.Split].Rails {
		h.HeldOpen[at] = false
		delete(h.HeldValue, at)
	}
	return cost
}

// tryOpen fits with one more conductor open, starting from the given fit, with at most the given
// number of iterations. A wrong candidate has a high cost after a few iterations.
func (h *hypothesis) tryOpen(c OpenConductor, fit *leastsquares.Fit, most int) (*leastsquares.Fit, error) {
	h.holdOpen(c)
	defer h.release(c)
	near := h.Start()
	for j, u := range h.Unknowns {
		if !u.WidePrior && u.What != model.FoilShare {
			near[j] = fit.X[j]
		}
	}
	near[c.Unknown] = prior.MaxTransformed
	return h.SolveLimited(near, most)
}

func (h *hypothesis) holdOpen(c OpenConductor) {
	h.HeldOpen[c.Unknown], h.Splits[c.Split].Disabled = true, true
}
func (h *hypothesis) release(c OpenConductor) {
	h.HeldOpen[c.Unknown], h.Splits[c.Split].Disabled = false, false
}

// lowerBound returns the lower end of the 95 % interval of an open conductor, Ω: the resistance at
// which the sum of squares is 3.84 higher.
func (h *hypothesis) lowerBound(c OpenConductor, fit *leastsquares.Fit) float64 {
	const rise = verdict.Coverage95 * verdict.Coverage95
	defer delete(h.HeldValue, c.Unknown)
	low, high := 0.0, prior.MaxTransformed
	for range 12 {
		middle := (low + high) / 2
		h.HeldValue[c.Unknown] = middle
		near := append([]float64(nil), fit.X...)
		near[c.Unknown] = middle
		trial, err := h.Solve(near)
		if err == nil && trial.SumSquares < fit.SumSquares+rise {
			high = middle
		} else {
			low = middle
		}
	}
	return prior.ToOhms(high)
}
