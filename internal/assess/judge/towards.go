package judge

import (
	"math"

	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/numeric/parallel"
	"ohmkeep/internal/run"
	"ohmkeep/internal/verdict"
)

// towards is what is known of an element in the direction of its limit, on the element's scale.
type towards struct {
	profile   *estimate.Profile
	belief    verdict.Belief // at the limit
	best      float64        // best value, not below zero
	low, high float64        // 95 % interval
}

// withCovariance is towards by the covariance alone.
func (j *judgement) withCovariance(i int) *towards {
	e := &j.est.Elements[i]
	t := &towards{profile: j.est.Profile(i), belief: e.Belief, best: math.Max(e.Belief.Mean, 0)}
	t.low, t.high = e.Belief.Interval(coverage)
	return t
}

// towardsLimit is towards by the least sum of squares between the estimate and the limit.
func (j *judgement) towardsLimit(i int) *towards {
	t, e := j.withCovariance(i), &j.est.Elements[i]
	limit := j.limit(e)
	t.belief = t.profile.Belief(limit, estimate.VerdictSigmas)
	if t.belief == e.Belief {
		return t
	}
	least, most := t.profile.Belief(limit, estimate.IntervalSigmas).Interval(coverage)
	t.best = math.Max(t.belief.Mean, 0)
	if e.Scale(limit) < t.best {
		if j.judgedFirst(e) {
			t.high = t.profile.End(coverage, true)
		}
		t.low, t.high = math.Min(least, t.best), math.Max(t.high, t.best)
	} else {
		t.low, t.high = math.Min(t.low, t.best), math.Max(most, t.best)
	}
	return t
}

// judgedFirst reports whether an element is judged before its rails: a loop, or the minus of a joint
// whose plus is cut.
func (j *judgement) judgedFirst(e *estimate.Element) bool {
	return e.Rail == run.Loop || e.Kind == run.KindJoint && j.run.Joints[e.Index].PlusCut
}

// loopsTowardsLimits returns by element what is known of those that are judged before their rails;
// nil for others. The fits that it takes are independent of each other, and are made concurrently.
func (j *judgement) loopsTowardsLimits() []*towards {
	list := make([]*towards, len(j.est.Elements))
	parallel.For(len(list), func(i int) {
		if e := &j.est.Elements[i]; e.Known && j.judgedFirst(e) && !math.IsNaN(j.limit(e)) {
			list[i] = j.towardsLimit(i)
		}
	})
	return list
}
