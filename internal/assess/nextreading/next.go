package nextreading

import (
	"math"
	"slices"

	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/result/assessment"
)

const (
	// minVarianceReduction is the least relative reduction of a variance for which a reading is
	// proposed.
	minVarianceReduction = 0.1
	// settledBonus is the worth of a settled target, in units of a deviation that shrinks by a
	// factor of e.
	settledBonus = 2.0
	// margin is the worth of a deviation that shrinks further than a target needs, as a part of what
	// it was worth until then.
	margin = 0.02
	// minNarrowing is the factor to which a reading must reduce a deviation to be proposed where no
	// reading is expected to settle a target.
	minNarrowing = 0.6
	// proposed is the number of candidates that are evaluated in detail. The best paired of them
	// are tried in pairs, the best tripled of them in threes.
	proposed, paired, tripled = 400, 80, 36
)

// Next proposes up to most readings that would settle the targets, best first. What a proposal
// settles assumes that those before it are read.
func Next(e *estimate.Estimate, targets []Target, most int) []assessment.Next {
	if len(targets) == 0 || e.Covariance == nil {
		return nil
	}
	o, err := NewOutlook(e, CarriedMeters(e.Model.Run))
	if err != nil {
		return nil // without a solution of the network nothing can be proposed
	}
	o.withoutFoilPrior(targets)
	list := slices.DeleteFunc(o.Candidates(), o.taken)
	c := o.choose(list, targets)
	next := c.settling(list, most)
	if len(next) < most {
		next = append(next, o.withLongLeads(c, list, next)...)
	}
	if len(next) == 0 { // no reading is expected to settle a target, but one may
		next = o.choose(list, targets).narrowing(list, most)
	}
	if len(next) == 0 {
		list = append(list, slices.DeleteFunc(o.BeyondLeads(), o.taken)...)
		next = o.choose(list, targets).narrowing(list, mostLong)
	}
	if len(next) == 0 {
		next = o.mostProbable(list, targets)
	}
	return next
}

// mostLong is the greatest number of readings proposed together where some need a long lead: both
// conductors of the elements on either side.
const mostLong = 6

// withLongLeads proposes readings for the targets that a choice left unsettled and that only a
// longer lead than is available settles.
func (o *Outlook) withLongLeads(c *choice, list []Candidate, before []assessment.Next) (more []assessment.Next) {
	var left []Target
	for k, t := range c.targets {
		if c.unsettled[k] {
			left = append(left, t)
		}
	}
	long := slices.DeleteFunc(o.BeyondLeads(), o.taken)
	if len(left) == 0 || len(long) == 0 {
		return nil
	}
	list = append(slices.Clone(list), long...)
	for _, n := range o.choose(list, left).settling(list, mostLong) {
		same := func(b assessment.Next) bool {
			return b.From == n.From && b.To == n.To && b.Step == n.Step && b.Meter == n.Meter
		}
		if !slices.ContainsFunc(before, same) {
			more = append(more, n)
		}
	}
	if !slices.ContainsFunc(more, func(n assessment.Next) bool { return n.Lead > 0 }) {
		return nil
	}
	return more
}

// settling takes up to most candidates that settle targets, best first.
func (c *choice) settling(list []Candidate, most int) []assessment.Next {
	var next []assessment.Next
	for len(next) < most {
		chosen := c.best(most - len(next))
		if chosen == nil {
			break
		}
		for _, i := range chosen {
			one := c.outlook.Describe(&list[c.from[i]])
			one.Settles = c.take(i)
			next = append(next, one)
		}
	}
	// Readings after the last one that settles a target are not proposed.
	for len(next) > most || len(next) > 0 && len(next[len(next)-1].Settles) == 0 {
		next = next[:len(next)-1]
	}
	return next
}

// narrowing returns up to most candidates of a list that reduce the targets' variances most. Each
// of them must reduce the deviation of one target to the factor narrows or less.
func (c *choice) narrowing(list []Candidate, most int) (next []assessment.Next) {
	for len(next) < most {
		best, gain := -1, 0.0
		for i := range c.Candidates() {
			if c.isRead[i] {
				continue
			}
			sum, enough := 0.0, false
			for k := range c.targets {
				part := c.After(i, k) / c.Variance(k)
				sum -= math.Log(part)
				enough = enough || part < minNarrowing*minNarrowing
			}
			if enough && sum > gain {
				best, gain = i, sum
			}
		}
		if best < 0 {
			break
		}
		c.Take(best)
		c.isRead[best] = true
		next = append(next, c.outlook.Describe(&list[c.from[best]]))
	}
	return next
}
