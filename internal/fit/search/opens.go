package search

import (
	"math"
	"slices"
	"sync"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/numeric/parallel"
	"ohmkeep/internal/run"
	"ohmkeep/internal/verdict"
)

// Open conductors are tested separately, because the sum of squares has two minima: one at a high
// resistance and one at an open conductor. A fit that starts at a sound joint ends at the first.
const (
	// minHighOhms is the loop resistance, Ω, from which an element has a high resistance; a feed from
	// twice its stated resistance if that is more. It is then tested for an open conductor although
	// the readings are explained.
	minHighOhms     = 0.25
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

// withOpenConductors holds open, one by one, those candidates that lower the score, and fits again
// after each.
func (e explanation) withOpenConductors(candidates []OpenConductor) explanation {
	for range maxOpens {
		candidates = slices.DeleteFunc(slices.Clone(candidates), func(c OpenConductor) bool { return e.isOpen(c.Split) })
		trials := e.tryOpens(candidates)
		gains := make([]float64, len(candidates))
		best, bestFit := -1, explanation{}
		cost := e.cost()
		var choosing sync.Mutex
		parallel.For(len(candidates), func(i int) {
			trial, gain := e.gainOfOpen(candidates[i], trials[i], cost)
			choosing.Lock()
			defer choosing.Unlock()
			gains[i] = gain
			if gain > 0 && (best < 0 || gain > gains[best] || gain == gains[best] && i < best) {
				best, bestFit = i, trial
			}
		})
		if best < 0 {
			break
		}
		open := candidates[best]
		open.RailKnown = true
		for i, other := range candidates {
			if other.Split == open.Split && i != best && gains[i] > gains[best]-maxAlternativeCost {
				open.RailKnown = false
			}
		}
		if settled, err := bestFit.solve(bestFit.Assumptions, bestFit.X); err == nil {
			bestFit = settled
		}
		e = explain(bestFit.Fit, append(slices.Clip(e.open), open))
	}
	return e
}

// tryOpens makes a first fit with each candidate open besides, of few iterations. Those whose cost is
// still higher than the least by maxScreeningCost, and those of which a part of the run would have no
// supply, have no fit.
func (e explanation) tryOpens(candidates []OpenConductor) []explanation {
	trials := make([]explanation, len(candidates))
	parallel.For(len(candidates), func(i int) {
		if trial, err := e.tryOpen(candidates[i], screeningIterations); err == nil {
			trials[i] = trial
		}
	})
	least := math.Inf(1)
	for _, x := range trials {
		if x.Fit != nil {
			least = math.Min(least, x.cost())
		}
	}
	for i, x := range trials {
		if x.Fit != nil && x.cost() > least+maxScreeningCost {
			trials[i] = explanation{}
		}
	}
	return trials
}

// gainOfOpen continues the first fit with one more conductor open, and returns by how much that lowers
// the score from the given cost; −Inf without one.
func (e explanation) gainOfOpen(c OpenConductor, trial explanation, cost float64) (explanation, float64) {
	if trial.Fit == nil {
		return trial, math.Inf(-1)
	}
	if !trial.Converged {
		var err error
		if trial, err = trial.solveLimited(trial.Assumptions, trial.X, trialIterations-screeningIterations); err != nil {
			return trial, math.Inf(-1)
		}
	}
	gain := cost - trial.cost() - openConductor
	if gain > -highResistance {
		gain += e.oddsOf(c.Split)
	}
	return trial, gain
}

// openCandidates lists the conductors to test: all, or only those of elements with a high resistance.
func (e explanation) openCandidates(all bool) []OpenConductor {
	var list []OpenConductor
	for s, split := range e.Model.Splits {
		if !split.Transformed || e.isOpen(s) {
			continue
		}
		high := e.isHigh(s)
		for _, at := range split.Rails {
			c := OpenConductor{Unknown: at, Split: s}
			if (all || high) && !e.clampShowsCurrent(at) {
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

// tryOpen fits with one more conductor open, with at most the given number of iterations. It starts
// from the explanation's fit, or with the conductors as the run file states them where the sum of
// squares is less there. A wrong candidate has a high cost after a few iterations.
func (e explanation) tryOpen(c OpenConductor, most int) (explanation, error) {
	a := e.Assumptions.HoldingOpen(c.Unknown)
	stated, fitted := e.Model.Start(a), slices.Clone(e.X)
	fitted[c.Unknown] = prior.MaxTransformed
	for j, u := range e.Model.Unknowns {
		if !u.WidePrior && u.What != model.FoilShare {
			stated[j] = e.X[j]
		}
	}
	sum := func(x []float64) float64 {
		if s, err := e.Model.SumAt(a, x); err == nil {
			return s
		}
		return math.Inf(1)
	}
	if sum(fitted) < sum(stated) {
		return e.solveLimited(a, fitted, most)
	}
	return e.solveLimited(a, stated, most)
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
