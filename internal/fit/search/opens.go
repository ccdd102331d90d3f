package search

import (
	"math"
	"slices"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/fit/prior"
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
	Split      int     // index of its element's split
	LowerBound float64 // Ω, of the 95 % interval
	RailKnown  bool    // the readings show which of the two rails is open
}

// withOpenConductors holds open, one by one, the conductors that lower the cost enough, and fits
// again after each.
func (e explanation) withOpenConductors() explanation {
	for range maxOpens {
		scores := map[int]float64{}
		var best OpenConductor
		var bestFit explanation
		bestScore, cost := 0.0, e.cost()
		for _, c := range e.openCandidates() {
			trial, err := e.tryOpen(c, trialIterations)
			if err != nil {
				continue // this part of the run would have no supply
			}
			opened := trial.cost()
			score := cost - opened - minOpenGain
			if e.mayBeOpen(c) && score > -minOpenGain-maxOpenCost {
				score = e.costAsStated(c) - opened - minOpenGain
			}
			scores[c.Unknown] = score
			if score > bestScore {
				best, bestFit, bestScore = c, trial, score
			}
		}
		if bestFit.Fit == nil {
			break
		}
		best.RailKnown = true
		for _, other := range e.Model.Splits[best.Split].Rails {
			if s, tried := scores[other]; tried && other != best.Unknown && s > bestScore-minOpenGain/2 {
				best.RailKnown = false
			}
		}
		if settled, err := bestFit.solve(bestFit.Assumptions, bestFit.X); err == nil {
			bestFit = settled
		}
		e = explanation{bestFit.Fit, append(slices.Clip(e.open), best)}
	}
	return e
}

// openCandidates lists the conductors to test: all where the readings are not explained or a reel
// has an impossible resistance, otherwise those of elements with a high resistance.
func (e explanation) openCandidates() []OpenConductor {
	poor := !e.plausible() || e.hasImpossibleReel()
	var list []OpenConductor
	for s, split := range e.Model.Splits {
		if !split.Transformed || e.isOpen(s) {
			continue
		}
		for _, at := range split.Rails {
			c := OpenConductor{Unknown: at, Split: s}
			if (poor || e.mayBeOpen(c)) && !e.clampShowsCurrent(at) {
				list = append(list, c)
			}
		}
	}
	return list
}

// isOpen reports whether a conductor of the element with that split is held open.
func (e explanation) isOpen(split int) bool {
	return slices.ContainsFunc(e.open, func(c OpenConductor) bool { return c.Split == split })
}

// clampShowsCurrent reports whether a conductor is the plus of a feed in which a clamp meter
// measured current: at least half of the feed's current readings exceed the clamp's error limit.
// That conductor is not open. The minus may be, since current can return through another feed.
func (e explanation) clampShowsCurrent(at int) bool {
	feed := slices.IndexFunc(e.Model.Feeds, func(rails [2]int) bool { return rails[run.Plus] == at })
	if feed < 0 {
		return false
	}
	some, all := 0, 0
	for _, o := range e.Observations {
		if o.Feed != feed || o.ExcludedForGood {
			continue
		}
		all++
		limits := e.Model.MeterRanges[o.MeterRange].Limits
		if math.Abs(o.Value) > limits.Fraction*math.Abs(o.Value)+(limits.Counts+1)*limits.Resolution {
			some++
		}
	}
	return some > 0 && 2*some >= all
}

// hasImpossibleReel reports whether a fit has a reel with less or more copper than any strip
// sold. Behind an open feed, a reel with no resistance can explain the equal voltages along it.
func (e explanation) hasImpossibleReel() bool {
	for i, at := range e.Model.Reels {
		if e.Model.Run.Reels[i].Strip.LoopOhms == 0 {
			continue
		}
		if half := (e.X[at[0]] + e.X[at[1]]) / 2; half < 1/maxReelRatio || half > maxReelRatio {
			return true
		}
	}
	return false
}

// mayBeOpen reports whether an element has a high resistance that is significantly above zero, or
// a high resistance and a reading across it above the meter's error limit. The second test is
// needed because almost no current flows there, so the resistance itself is uncertain.
func (e explanation) mayBeOpen(c OpenConductor) bool {
	t, row := prior.Loop(e.Model.Splits[c.Split].Rails, e.X)
	stated := 0.0
	for _, at := range e.Model.Splits[c.Split].Rails {
		stated += prior.ToOhms(e.Model.Unknowns[at].Mean)
	}
	if t < prior.Transform(max(openCandidateOhms, 2*stated)) || e.Covariance == nil {
		return false
	}
	return e.exceedsMeterError(c) || t > openSigmas*math.Sqrt(math.Max(matrix.Quadratic(e.Covariance, row), 0))
}

// exceedsMeterError reports whether a voltage across either conductor of a joint is more than
// twice the meter's offset error limit.
func (e explanation) exceedsMeterError(c OpenConductor) bool {
	joint := slices.IndexFunc(e.Model.Joints, func(rails [2]int) bool { return rails == e.Model.Splits[c.Split].Rails })
	if joint < 0 {
		return false
	}
	j := e.Model.Run.Joints[joint]
	end := run.Place{Kind: run.AtReel, Index: j.From, Pixel: e.Model.Run.Reels[j.From].Pixels}
	start := run.Place{Kind: run.AtReel, Index: j.To, Pixel: 1}
	return slices.ContainsFunc(e.Observations, func(o model.Observation) bool {
		over := o.From.Place == end && o.To.Place == start || o.From.Place == start && o.To.Place == end
		limits := e.Model.MeterRanges[o.MeterRange].Limits
		return !o.Excluded && o.Feed == model.Absent && over && math.Abs(o.Value) > 2*(limits.Counts+1)*limits.Resolution
	})
}

// costAsStated returns the cost with both rails of an element held at their stated values; +Inf
// where that cannot be fitted.
func (e explanation) costAsStated(c OpenConductor) float64 {
	a, near := e.Assumptions, slices.Clone(e.X)
	for _, at := range e.Model.Splits[c.Split].Rails {
		near[at] = e.Model.Unknowns[at].Mean
		a = a.Holding(at, near[at])
	}
	sound, err := e.solve(a, near)
	if err != nil {
		return math.Inf(1)
	}
	return sound.cost()
}

// tryOpen fits with one more conductor open, starting from the explanation's fit, with at most the
// given number of iterations. A wrong candidate has a high cost after a few iterations.
func (e explanation) tryOpen(c OpenConductor, most int) (explanation, error) {
	a := e.Assumptions.HoldingOpen(c.Unknown)
	near := e.Model.Start(a)
	for j, u := range e.Model.Unknowns {
		if !u.WidePrior && u.What != model.FoilShare {
			near[j] = e.X[j]
		}
	}
	return e.solveLimited(a, near, most)
}

// lowerBound returns the lower end of the 95 % interval of an open conductor, Ω: the resistance at
// which the sum of squares is 3.84 higher.
func (e explanation) lowerBound(c OpenConductor) float64 {
	const rise = verdict.Coverage95 * verdict.Coverage95
	low, high := 0.0, prior.MaxTransformed
	for range 12 {
		middle := (low + high) / 2
		near := slices.Clone(e.X)
		near[c.Unknown] = middle
		trial, err := e.solve(e.Assumptions.Holding(c.Unknown, middle), near)
		if err == nil && trial.SumSquares < e.SumSquares+rise {
			high = middle
		} else {
			low = middle
		}
	}
	return prior.ToOhms(high)
}
