package nextreading

import (
	"cmp"
	"math"
	"slices"

	"ohmkeep/internal/fit/estimate"
)

// choice is the state of a greedy selection of readings for targets.
type choice struct {
	*Posterior
	outlook   *Outlook
	few       []Candidate
	read      []Candidate // taken so far
	isRead    []bool      // by candidate of this choice
	from      []int       // by candidate of this choice: its index in the list
	targets   []Target
	goals     []float64 // by target: variance at which it is settled; 0 = no variance settles it
	unsettled []bool    // by target
}

// choose returns a choice among the candidates that reduce the variance of any target.
func (o *Outlook) choose(list []Candidate, targets []Target) *choice {
	c := &choice{outlook: o, targets: targets}
	var elements []int
	for _, t := range targets {
		b := o.est.Elements[t.Element].Belief
		c.goals = append(c.goals, o.SettlingVariance(t, b.Mean, b.Deviation))
		c.unsettled = append(c.unsettled, true)
		elements = append(elements, t.Element)
	}
	c.from = o.mostInformative(list, elements, proposed)
	few := make([]Candidate, len(c.from))
	for i, from := range c.from {
		few[i] = list[from]
	}
	c.few, c.isRead, c.Posterior = few, make([]bool, len(few)), o.Posterior(few, elements)
	return c
}

// mostInformative returns up to most candidates, those that reduce the elements' variances most
// when taken alone, in the order of the list.
func (o *Outlook) mostInformative(list []Candidate, elements []int, most int) []int {
	all := make([]int, len(list))
	for i := range all {
		all[i] = i
	}
	if len(list) <= most {
		return all
	}
	worths := make([]float64, len(list))
	x := o.Posterior(list, elements)
	for i := range list {
		for k := range elements {
			worths[i] -= math.Log(x.After(i, k) / x.Variance(k))
		}
	}
	slices.SortStableFunc(all, func(a, b int) int { return cmp.Compare(worths[b], worths[a]) })
	all = all[:most]
	slices.Sort(all)
	return all
}

// best returns the candidate with the greatest worth. Where no candidate alone settles a target but
// two or three together do, it returns those, at most most of them. It returns nil where no
// candidate is worth taking.
func (c *choice) best(most int) []int {
	worths, hints := make([]float64, c.Candidates()), make([]float64, c.Candidates())
	var order []int
	for i := range c.Candidates() {
		if c.isRead[i] {
			continue
		}
		order = append(order, i)
		worths[i] = c.worth(func(k int) float64 { return c.After(i, k) })
		for k := range c.targets {
			if c.unsettled[k] && c.goals[k] > 0 {
				hints[i] += math.Log(c.Variance(k) / c.After(i, k))
			}
		}
	}
	slices.SortStableFunc(order, func(a, b int) int {
		return cmp.Or(cmp.Compare(worths[b], worths[a]), cmp.Compare(hints[b], hints[a]))
	})
	if len(order) == 0 {
		return nil
	}
	for k := range c.targets {
		if c.unsettled[k] && c.After(order[0], k) <= c.goals[k] {
			return order[:1]
		}
	}
	if most >= 2 { // several may settle a target that none of them settles alone
		if best, _ := c.pair(c.Posterior, order[:min(len(order), paired)]); best != nil {
			return best
		}
	}
	if most >= 3 {
		if best := c.triple(order[:min(len(order), tripled)]); best != nil {
			return best
		}
	}
	if worths[order[0]] > 0 {
		return order[:1]
	}
	return nil
}

// pair returns the two candidates among few with the greatest worth of those pairs that settle a
// target, given what x has taken already; nil if no pair does.
func (c *choice) pair(x *Posterior, few []int) (best []int, most float64) {
	for a, i := range few {
		both := x.covariances(i, few[a+1:])
		for n, j := range few[a+1:] {
			settles := false
			for k := range c.targets {
				settles = settles || c.unsettled[k] && x.afterBoth(i, j, both[n], k) <= c.goals[k]
			}
			if !settles {
				continue
			}
			if worth := c.worth(func(k int) float64 { return x.afterBoth(i, j, both[n], k) }); worth > most {
				best, most = []int{i, j}, worth
			}
		}
	}
	return best, most
}

// triple is pair for three candidates.
func (c *choice) triple(few []int) (best []int) {
	most := 0.0
	for a, i := range few {
		x := c.Posterior.Clone()
		x.Take(i)
		if two, worth := c.pair(x, few[a+1:]); worth > most {
			best, most = append([]int{i}, two...), worth
		}
	}
	return best
}

// worth is the sum over the unsettled targets of the logarithm of the reduction of the deviation,
// counted up to a little beyond what settles the target, plus settledBonus for each settled target.
func (c *choice) worth(after func(k int) float64) float64 {
	sum := 0.0
	for k := range c.targets {
		if !c.unsettled[k] || c.goals[k] == 0 {
			continue
		}
		before, now := c.Variance(k), after(k)
		if now > before*(1-minVarianceReduction) {
			continue
		}
		sum += math.Log(before/math.Max(now, c.goals[k]))/2 + margin*math.Log(before/now)
		if now <= c.goals[k] {
			sum += settledBonus
		}
	}
	return sum
}

// take takes candidate i and returns the names of the targets that it settles.
func (c *choice) take(i int) (names []string) {
	c.Posterior.Take(i)
	c.read, c.isRead[i] = append(c.read, c.few[i]), true
	var expected *estimate.Estimate
	for k, t := range c.targets {
		if !c.unsettled[k] || c.Variance(k) > c.goals[k] {
			continue
		}
		if expected == nil {
			var err error
			if expected, err = c.outlook.expectedEstimate(c.read, c.targets); err != nil {
				return nil
			}
		}
		if c.settledByLikelihood(k, expected) {
			c.unsettled[k] = false
			names = append(names, t.Name)
		}
	}
	return names
}
