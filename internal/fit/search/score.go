package search

import (
	"cmp"
	"math"
	"slices"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/numeric/matrix"
)

// Prior odds of the assumptions of an explanation, each as minus twice their logarithm (common
// practice, no source). 16 are odds of one to 3000, 10 of one to 150.
const (
	// wrongReading is for each excluded reading: one in some hundred is wrong, and its error may have
	// any size.
	wrongReading = outlierSigmas * outlierSigmas
	// operatorMistake is for each mistake, for one that is possible in one way only; see mistakeOdds.
	// One set of readings in a hundred has one of a kind.
	operatorMistake = 9.2
	// unusedReading is for each reading that a mistake takes out of the fit: a right reading lowers the cost
	// by as much, on average, when it leaves the fit.
	unusedReading = 1.0
	// openConductor is for each open conductor.
	openConductor = 10.0
	// badElement is for each joint or feed above its limit and each strip type above maxReelPart, and
	// highResistance for each joint or feed that conducts and has a high resistance (isHigh): that is rarer
	// than an open one.
	badElement     = 6.0
	highResistance = 12.0
	// darkReel is for a reel that stays dark in every step, which the operator sees.
	darkReel = 6.0
	// otherStock is for a reel whose copper is unlike that of the others of its strip type.
	otherStock = 10.0
	// unlistedCurrent is for something that the run file does not list.
	unlistedCurrent = 10.0
	// roughReadings is for readings that all scatter much further than their meters promise.
	roughReadings = 10.0
	// notConverged is for a fit that has not converged.
	notConverged = 10.0
	// maxAlternativeCost is how much the score of an alternative may exceed that of the best
	// explanation: odds of 90. Neither is then reported as certain.
	maxAlternativeCost = 9.0
)

// Few strips have more than maxReelPart of their stated resistance, and none has much less than minReelPart:
// that of twice the copper has odds of one to 6000. lowReelSpread is the standard deviation below it (all
// common practice, no source).
const (
	maxReelPart   = 1.25
	minReelPart   = 0.75
	lowReelSpread = 0.06
)

// score returns minus twice the logarithm of the evidence for an explanation times the prior odds
// of its assumptions. All explanations are compared by it: the one of least score is the best.
func (e explanation) score() float64 {
	if e.once != nil {
		return e.once.score()
	}
	return e.computeScore()
}

func (e explanation) computeScore() float64 {
	sum := e.cost() + wrongReading*float64(e.Assumptions.ExcludedCount()) + openConductor*float64(len(e.open)) + e.elementOdds()
	for _, x := range e.Assumptions.Mistakes {
		sum += e.mistakeOdds(x)
		if x.Kind == model.WrongLoad {
			sum += e.sameLoadCost(x)
		}
	}
	if e.Assumptions.DarkReel >= 0 {
		sum += darkReel
	}
	if e.Assumptions.OtherStock >= 0 {
		sum += otherStock
	}
	sum += e.unlistedOdds() + e.lowOdds() + e.highCopperOdds()
	if e.Model.Rough {
		sum += roughReadings
	}
	if !e.Converged {
		sum += notConverged
	}
	return sum
}

// mistakeOdds returns the prior odds of a mistake: those of its kind are divided among the mistakes
// of that kind which the readings allow.
func (e explanation) mistakeOdds(x model.Mistake) float64 {
	n := 0
	if e.once != nil {
		n = e.once.possible()[x.Kind]
	} else {
		n = e.countPossible()[x.Kind]
	}
	unused := 0
	for i := range e.Observations {
		if x.Discards() && x.Affects(&e.Observations[i]) {
			unused++
		}
	}
	return operatorMistake + 2*math.Log(float64(max(n, 1))) + unusedReading*float64(unused)
}

// countPossible returns the number of mistakes of each kind that the readings allow.
func (e explanation) countPossible() map[model.MistakeKind]int {
	n := map[model.MistakeKind]int{}
	for _, x := range e.Model.PossibleMistakes(e.Model.Assume()) {
		n[x.Kind]++
	}
	return n
}

// elementOdds returns the prior odds of the resistances of joints and feeds that conduct.
func (e explanation) elementOdds() (sum float64) {
	for s, split := range e.Model.Splits {
		if split.Transformed && !e.isOpen(s) {
			sum += e.oddsOf(s)
		}
	}
	return sum
}

// oddsOf returns the prior odds of the resistance of a joint or feed, by the index of its split.
func (e explanation) oddsOf(split int) float64 {
	if e.once != nil {
		return e.once.odds[split]()
	}
	return e.computeOdds(split)
}

func (e explanation) computeOdds(split int) float64 {
	return e.oddsAt(split, e.loopOf(split), func(value float64) float64 { return e.riseTo(split, value) })
}

// oddsAt returns the prior odds of a joint or feed of transformed ohms t, by the index of its split: 0
// of a usual one. Where the readings hardly exclude less, the odds of less count with what it costs:
// rise is that of the sum of squares to another value.
func (e explanation) oddsAt(split int, t float64, rise func(value float64) float64) float64 {
	switch high, limit := e.highFrom(split), e.limitOf(split); {
	case t >= high:
		return math.Min(highResistance, badElement+rise(high))
	case t > limit:
		return math.Min(badElement, rise(limit))
	}
	return 0
}

// riseTo returns how much the sum of squares rises with the element of a split held at a value, in
// transformed ohms. For a high resistance the linear model is wrong, and the others are fitted again;
// from a fit that has not converged no rise is known, and it is +Inf.
func (e explanation) riseTo(split int, value float64) float64 {
	s := &e.Model.Splits[split]
	if t, row := prior.Loop(s.Rails, e.X); !e.isHigh(split) && e.Covariance != nil {
		return (t - value) * (t - value) / matrix.Quadratic(e.Covariance, row)
	}
	if !e.Converged {
		return math.Inf(1)
	}
	held := model.Resistance{Rails: s.Rails, Transformed: true, Unit: 1}
	sum, _, ok := e.Model.SumHeldAt(e.Assumptions, held, value, 1, e.Model.StartHeldAt(s, value, e.X))
	if !ok {
		return math.Inf(1)
	}
	return math.Max(sum-e.SumSquares, 0)
}

// loopOf returns the loop resistance of the element of a split, in transformed ohms.
func (e explanation) loopOf(split int) float64 {
	t, _ := prior.Loop(e.Model.Splits[split].Rails, e.X)
	return t
}

// limitOf returns the limit of the element of a split, in transformed ohms: of a feed, what its wire
// and connectors may have.
func (e explanation) limitOf(split int) float64 {
	rails, r := e.Model.Splits[split].Rails, e.Model.Run
	if i := slices.Index(e.Model.Joints, rails); i >= 0 {
		return prior.Transform(r.Joints[i].Limit)
	}
	return prior.Transform(r.FeedExcess(slices.Index(e.Model.Feeds, rails)))
}

// highFrom returns the transformed ohms from which the element of a split has a high resistance.
func (e explanation) highFrom(split int) float64 {
	stated := 0.0
	for _, at := range e.Model.Splits[split].Rails {
		stated += prior.ToOhms(e.Model.Unknowns[at].Mean)
	}
	return prior.Transform(math.Max(minHighOhms, 2*stated))
}

// isHigh reports whether the element of a split has a high resistance in the fit.
func (e explanation) isHigh(split int) bool { return e.loopOf(split) >= e.highFrom(split) }

// bestOf returns the explanation of least score, and the others with a score within
// maxAlternativeCost of it, the better ones first. Each set of assumptions is in the list once.
func bestOf(list []explanation) (best explanation, alternatives []explanation) {
	type scored struct {
		explanation
		score float64
	}
	var all []scored
	for _, e := range list {
		all = append(all, scored{e, e.score()})
	}
	slices.SortStableFunc(all, func(a, b scored) int { return cmp.Compare(a.score, b.score) })
	for _, e := range all[1:] {
		same := func(x explanation) bool { return x.sameAssumptions(e.explanation) }
		if e.score < all[0].score+maxAlternativeCost && !same(all[0].explanation) && !slices.ContainsFunc(alternatives, same) {
			alternatives = append(alternatives, e.explanation)
		}
	}
	return all[0].explanation, alternatives
}

// sameAssumptions reports whether two explanations exclude the same readings and have the same
// mistakes, the same dark reel and the same reel of other stock. An open conductor is the limit of a
// high resistance, and its lower bound tells what else it may have.
func (e explanation) sameAssumptions(x explanation) bool {
	a, b := &e.Assumptions, &x.Assumptions
	return e.sameModel(x) && a.DarkReel == b.DarkReel && a.OtherStock == b.OtherStock && slices.Equal(a.Excluded, b.Excluded) && slices.Equal(a.Mistakes, b.Mistakes)
}

// sameModel reports whether two explanations suppose the same of what the run file does not state: of
// unlisted currents and of the scatter of all readings.
func (e explanation) sameModel(x explanation) bool {
	return e.Model.Rough == x.Model.Rough && e.Model.SameUnlisted(x.Model)
}
