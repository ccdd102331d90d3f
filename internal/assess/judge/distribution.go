package judge

import (
	"math"

	"ohmkeep/internal/numeric/parallel"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/verdict"
)

// distribution returns the probability distribution of element i over all explanations of the
// readings, on the element's own scale. towardsLimit computes its likelihood towards the limit, else
// it is that of the covariance. Most explanations differ elsewhere in the run: where such a one leaves
// the element as in the best one, its likelihood is taken from there.
func (j *judgement) distribution(i int, towardsLimit bool) verdict.Mixture {
	m := make(verdict.Mixture, len(j.explanations))
	for k, est := range j.explanations {
		e, best := &est.Elements[i], &j.est.Elements[i]
		m[k] = verdict.Component{Weight: j.weights[k], Distribution: verdict.Distribution{Belief: e.Belief}}
		switch {
		case !towardsLimit || !e.Known:
		case k > 0 && best.Known && e.Open == best.Open && e.Belief.Near(best.Belief):
			m[k].Distribution = m[0].Distribution
		default:
			m[k].Distribution = est.Profile(i).Distribution(j.limit(e))
		}
	}
	return m
}

// distributions returns by element the distribution of those that are shown. The likelihood of a rail
// is not computed towards its limit where the loop passes. The fits that it takes are independent of
// each other from loop to loop, and are made concurrently.
func (j *judgement) distributions() []verdict.Mixture {
	elements := j.est.Elements
	list := make([]verdict.Mixture, len(elements))
	parallel.For(len(list), func(i int) {
		loop := &elements[i]
		if !j.judgedFirst(loop) {
			return
		}
		limit := j.limit(loop)
		judged := !math.IsNaN(limit)
		list[i] = j.distribution(i, judged)
		passes := judged && j.verdictOf(loop, list[i].ProbabilityAbove(loop.Scale(limit)), loop.Known) == assessment.Pass
		for k := i + 1; k < len(elements) && !j.judgedFirst(&elements[k]); k++ {
			if elements[k].RailKnown {
				list[k] = j.distribution(k, !passes && !math.IsNaN(j.limit(&elements[k])))
			}
		}
	})
	return list
}
