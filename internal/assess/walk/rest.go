package walk

import (
	"math"
	"slices"

	"ohmkeep/internal/assess/nextreading"
	"ohmkeep/internal/result/assessment"
)

// rest returns what is left to read, as far as is known.
func (w Walk) rest() []assessment.Next {
	if w.known == nil {
		return w.planned()
	}
	if w.Stale() && len(w.known.rest) == 0 {
		return nil
	}
	return w.open(w.known.rest)
}

// planned returns what the plan asks and was not read.
func (w Walk) planned() (list []assessment.Next) {
	for _, r := range w.plan.Rounds {
		list = append(list, r.Reads...)
	}
	return w.open(list)
}

// open returns those of some readings that were neither taken nor left out, in the steps of the walk.
func (w Walk) open(list []assessment.Next) []assessment.Next {
	closed := map[key]bool{}
	for _, e := range w.state.inForce {
		closed[e.key()] = true
	}
	if !w.options.All {
		for _, x := range w.options.Before {
			closed[ReadingEvent(x).key()] = true
		}
	}
	var left []assessment.Next
	for _, n := range list {
		if k := keyOf(n); !closed[k] && !w.state.skipped[k] && !w.state.left[n.Step] && (w.options.Steps == nil || slices.Contains(w.options.Steps, n.Step)) {
			left = append(left, n)
		}
	}
	return left
}

// almost is the ratio of the variance that a shorter list may leave to that of the whole list, where
// neither settles an element.
const almost = 1.2

// needed returns those of the planned readings that are still needed: without the others every target is settled
// if it is with all of them, and is known almost as well if it is not. The last ones of the plan are
// left out first, because that saves steps and ways.
func needed(o *nextreading.Outlook, candidates []nextreading.Candidate, targets []nextreading.Target, planned []assessment.Next) []assessment.Next {
	if len(targets) == 0 {
		return nil
	}
	at := map[key]int{}
	for i := range candidates {
		at[keyOf(o.Describe(&candidates[i]))] = i
	}
	var list []nextreading.Candidate
	var reads, always []assessment.Next
	for _, n := range planned {
		if i, ok := at[keyOf(n)]; ok {
			list, reads = append(list, candidates[i]), append(reads, n)
		} else {
			always = append(always, n) // the estimate sees no such reading, so nothing is known of its worth
		}
	}
	if len(list) == 0 {
		return always
	}
	var elements []int
	for _, t := range targets {
		elements = append(elements, t.Element)
	}
	after := o.PosteriorAfter(list, elements)
	goals := make([]float64, len(targets))
	for k, t := range targets {
		b := o.Element(t.Element).Belief
		goals[k] = math.Max(o.SettlingVariance(t, b.Mean, b.Deviation), almost*after.Variance(k))
	}
	enough := func() bool {
		for k := range targets {
			if after.Variance(k) > goals[k] {
				return false
			}
		}
		return true
	}
	left := make([]bool, len(list))
	for i := len(list) - 1; i >= 0; i-- {
		after.Drop(i)
		if left[i] = !enough(); left[i] {
			after.Take(i)
		}
	}
	kept := always
	for i, n := range reads {
		if left[i] {
			kept = append(kept, n)
		}
	}
	return slices.Clip(kept)
}
