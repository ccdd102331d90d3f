package walk

import (
	"slices"

	"ohmkeep/internal/assess/plan"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// nearest returns which of some readings to take next. The step that the run shows comes first, then
// the steps in the order of the run. In each step the run is walked along once: from the end that
// is nearer to the last place, or on from there. It never turns round in a step while something is left
// ahead.
func (w Walk) nearest(rest []assessment.Next) assessment.Next {
	step := w.state.step
	in := func(name string) (list []assessment.Next) {
		for _, n := range rest {
			if n.Step == name {
				list = append(list, n)
			}
		}
		return list
	}
	here := in(step)
	if here == nil {
		for _, s := range w.run.Steps {
			if here = in(s.Name); here != nil {
				step = s.Name
				break
			}
		}
	}
	slices.SortStableFunc(here, func(a, b assessment.Next) int { return plan.Compare(w.run, a, b) })
	last, forward, begun := w.heading(step)
	if last == nil {
		return here[0]
	}
	ahead := slices.IndexFunc(here, func(n assessment.Next) bool { return plan.Compare(w.run, n, *last) >= 0 })
	if ahead < 0 {
		ahead = len(here)
	}
	switch {
	case !begun && ahead <= len(here)/2: // a new step begins at its nearer end
		return here[0]
	case !begun:
		return here[len(here)-1]
	case forward && ahead < len(here) || ahead == 0:
		return here[ahead]
	}
	return here[ahead-1]
}

// heading returns the last place visited; whether the walk goes forward in a step; and whether it has
// begun there.
func (w Walk) heading(step string) (last *assessment.Next, forward, begun bool) {
	forward = true
	for _, e := range w.state.done {
		if e.From == "" || e.Fixed || e.Kind != Read && e.Kind != Skip {
			continue
		}
		n := next(e)
		if begun = e.Step == step; begun && last != nil {
			if last.Step != step {
				forward = w.inFirstHalf(n)
			} else if c := plan.Compare(w.run, n, *last); c != 0 {
				forward = c > 0
			}
		}
		last = &n
	}
	return last, forward, begun
}

// inFirstHalf reports whether a reading is in the first half of its step's round.
func (w Walk) inFirstHalf(n assessment.Next) bool {
	for _, r := range w.plan.Rounds {
		if r.Step == n.Step {
			return plan.Compare(w.run, n, r.Reads[len(r.Reads)/2]) <= 0
		}
	}
	return true
}

// next returns the reading that an event is about.
func next(e Event) assessment.Next {
	q := max(slices.Index(run.QuantityNames, e.Quantity), 0)
	return assessment.Next{Quantity: run.Quantity(q), From: e.From, To: e.To, Step: e.Step, Meter: e.Meter}
}
