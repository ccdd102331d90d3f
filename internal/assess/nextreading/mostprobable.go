package nextreading

import (
	"math"
	"slices"

	"ohmkeep/internal/result/assessment"
)

const (
	// mostTogether is the number of readings that are tried together for one target: both conductors
	// of two elements.
	mostTogether = 4
	// leastChance is the least probability of a verdict with which readings are proposed though
	// nothing is likely to settle a target.
	leastChance = 0.01
	// sufficientPart is the part of that probability which fewer readings must have to be proposed
	// instead.
	sufficientPart = 0.9
)

// mostProbable returns the few readings of a list that most probably settle one of the targets, where no
// reading is likely to; nil where none has a chance of leastChance.
func (o *Outlook) mostProbable(list []Candidate, targets []Target) (next []assessment.Next) {
	along := slices.DeleteFunc(slices.Clone(list), func(c Candidate) bool { return c.metres == 0 })
	most := leastChance
	for _, t := range targets {
		for _, few := range [][]Candidate{o.narrowest(list, t), o.narrowest(along, t)} {
			chance := o.chanceAfter(few, t)
			if !(chance > most) {
				continue
			}
			for len(few) > 1 && o.chanceAfter(few[:len(few)-1], t) >= sufficientPart*chance {
				few = few[:len(few)-1]
			}
			most, next = chance, nil
			for i := range few {
				next = append(next, o.Describe(&few[i]))
			}
		}
	}
	return next
}

// narrowest returns the candidates that together reduce the variance of a target most, taken one by
// one.
func (o *Outlook) narrowest(list []Candidate, t Target) (few []Candidate) {
	c := o.choose(list, []Target{t})
	for range mostTogether {
		best, least := -1, c.Variance(0)
		for i := range c.Candidates() {
			if after := c.After(i, 0); !c.isRead[i] && after < least {
				best, least = i, after
			}
		}
		if best < 0 {
			break
		}
		c.Take(best)
		c.isRead[best] = true
		few = append(few, c.few[best])
	}
	return few
}

// chanceAfter is the probability that some readings settle a target, by the likelihood towards its
// limit and with the noise as well known as it will be then.
func (o *Outlook) chanceAfter(few []Candidate, t Target) float64 {
	if len(few) == 0 || !(t.Limit > 0) {
		return 0
	}
	b := o.est.Elements[t.Element].Belief
	now := b.Deviation * t.deviationRatio(b.Deviation)
	truths, weights := t.possibleValues(b.Mean, now)
	after := o.DeviationsTowardsLimits(few, []Target{t})[0]
	if t.DeviationSpread > 0 {
		t.DeviationSpread = 1 / math.Sqrt(1/(t.DeviationSpread*t.DeviationSpread)+2*o.redundancy(few))
	}
	return t.settlingProbability(b.Mean, now, after, truths, weights)
}

// redundancy is the number of degrees of freedom by which some readings add to what is known of the
// noise. A standard deviation with ν of them has a relative standard uncertainty of 1/√(2ν) (JCGM
// 100:2008, E.4.3).
func (o *Outlook) redundancy(few []Candidate) (sum float64) {
	x := o.Posterior(few, nil)
	for i := range few {
		sum += 1 / (1 + x.own[i])
		x.Take(i)
	}
	return sum
}
