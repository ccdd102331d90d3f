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

// An open conductor is a hypothesis of its own: the sum of squares has a valley
// between "bad" and "open" in which a fit that began at a sound joint stops.
const (
	// openMaybe is the loop resistance, Ω, from which an element is asked whether it is
	// open although the readings are explained; a long feed has as much and is asked from
	// twice what is stated.
	openMaybe = 0.25
	// openGain is by how much the sum of squares must fall to call a conductor open
	// that nothing else suggests: 10 is a likelihood ratio of 150.
	openGain = 10.0
	// openCost is by how much it may rise where the element has openMaybe or more:
	// "open" says the same as "some ohms" with one number less.
	openCost = 2.0
	// openSure is how many standard deviations such an element must lie from none.
	openSure = 1.6
	// reelOdd is how many times thicker or thinner than stated no reel's copper is
	// (common practice, no source).
	reelOdd = 2.5
	// openCharge is what an open conductor adds to the last account: it may cost openCost,
	// having saved openGain in withOpens before, against the fit or a sound element.
	openCharge = -openCost
	mostOpens  = 3  // that are looked for
	glance     = 15 // steps of a first trial
)

// Parting is one conductor that is held open.
type OpenConductor struct {
	Unknown    int     // unknown
	Split      int     // of its element, left out while it is open
	LowerBound float64 // Ω: less than this the readings exclude
	RailKnown  bool    // the readings tell that it is this rail and not the other
}

// withOpens looks for conductors that are open and refits with them so.
func (h *hypothesis) withOpens(fit *leastsquares.Fit) *leastsquares.Fit {
	for range mostOpens {
		scores := map[int]float64{}
		var best OpenConductor
		var bestFit *leastsquares.Fit
		bestScore, cost := 0.0, h.cost(fit)
		for _, c := range h.partings(fit) {
			trial, err := h.tryOpen(c, fit, glance)
			if err != nil {
				continue // such an open leaves part of the run without supply
			}
			opened := h.cost(trial)
			score := cost - opened - openGain
			if h.much(c, fit) && score > -openGain-openCost {
				score = h.soundCost(c, fit) - opened - openGain
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
			if s, tried := scores[other]; tried && other != best.Unknown && s > bestScore-openGain/2 {
				best.RailKnown = false
			}
		}
		h.hold(best)
		h.parted = append(h.parted, best)
		if settled, err := h.Solve(bestFit.X); err == nil {
			bestFit = settled
		}
		fit = bestFit
	}
	return fit
}

// partings lists the conductors worth asking: all of them where the readings are
// not explained, or only by a reel that cannot be, otherwise those of elements with much
// resistance.
func (h *hypothesis) partings(fit *leastsquares.Fit) []OpenConductor {
	poor := !fit.Converged || h.PValue(fit) < model.MinPValue || h.farFetched(fit)
	var list []OpenConductor
	for s := range h.Splits {
		if !h.Splits[s].Transformed {
			continue
		}
		for _, at := range h.Splits[s].Rails {
			c := OpenConductor{Unknown: at, Split: s}
			if h.Splits[s].Disabled || !poor && !h.much(c, fit) || h.flows(at) {
				continue
			}
			list = append(list, c)
		}
	}
	return list
}

// flows tells whether a conductor is the plus of a feed in which a clamp saw current: at least
// half of its readings are further from nothing than the clamp can be off. It is not open then,
// whatever explains the readings. Its minus may be, where current returns by another feed.
func (h *hypothesis) flows(at int) bool {
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

// farFetched tells whether a fit has a reel of less or more copper than any strip is sold
// with: behind an open feed, a reel of no resistance at all explains its level voltages.
func (h *hypothesis) farFetched(fit *leastsquares.Fit) bool {
	for i, at := range h.Reels {
		if h.Run.Reels[i].Strip.LoopOhms == 0 {
			continue
		}
		if half := (fit.X[at[0]] + fit.X[at[1]]) / 2; half < 1/reelOdd || half > reelOdd {
			return true
		}
	}
	return false
}

// much tells whether an element surely has so much resistance that it may be open; or has it
// and a reading over it shows volts, since next to no current tells how much one has that is.
func (h *hypothesis) much(c OpenConductor, fit *leastsquares.Fit) bool {
	t, row := prior.Loop(h.Splits[c.Split].Rails, fit.X)
	stated := 0.0
	for _, at := range h.Splits[c.Split].Rails {
		stated += prior.ToOhms(h.Unknowns[at].Mean)
	}
	if t < prior.Transform(max(openMaybe, 2*stated)) || fit.Covariance == nil {
		return false
	}
	return h.gapes(c) || t > openSure*math.Sqrt(math.Max(matrix.Quadratic(fit.Covariance, row), 0))
}

// gapes tells whether a reading over either conductor of a joint shows more than what its
// meter can be off by, and some.
func (h *hypothesis) gapes(c OpenConductor) bool {
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

// soundCost is the cost with both rails of an element as stated.
func (h *hypothesis) soundCost(c OpenConductor, fit *leastsquares.Fit) float64 {
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

// tryOpen fits with one more conductor open, from where the fit is. Most conductors
// that are not open show that within a few steps.
func (h *hypothesis) tryOpen(c OpenConductor, fit *leastsquares.Fit, most int) (*leastsquares.Fit, error) {
	h.hold(c)
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

func (h *hypothesis) hold(c OpenConductor) {
	h.HeldOpen[c.Unknown], h.Splits[c.Split].Disabled = true, true
}
func (h *hypothesis) release(c OpenConductor) {
	h.HeldOpen[c.Unknown], h.Splits[c.Split].Disabled = false, false
}

// excluded is the least resistance, Ω, that an open conductor must have: below it
// the sum of squares rises by that of a 95 % interval.
func (h *hypothesis) excluded(c OpenConductor, fit *leastsquares.Fit) float64 {
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
