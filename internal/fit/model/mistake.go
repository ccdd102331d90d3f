package model

import "ohmkeep/internal/run"

// MistakeKind is a mistake in taking readings that affects several of them.
type MistakeKind int

const (
	FeedsSwapped   MistakeKind = iota // the currents of feeds A and B are exchanged
	LeadsReversed                     // all voltages of step A have the wrong sign
	WrongLoad                         // step A was read while step B of the run was lit
	StepsExchanged                    // steps A and B were each read while the other one was lit
)

// Mistake is an operator mistake in taking readings. For FeedsSwapped A and B are indices of feeds
// in the run. Otherwise they are indices of steps in Problem.Steps, except B of WrongLoad, which is
// the index of a step in the run.
type Mistake struct {
	Kind MistakeKind
	A, B int
}

// Affects reports whether a mistake changes an observation.
func (s Mistake) Affects(o *Observation) bool {
	switch s.Kind {
	case FeedsSwapped:
		return o.Feed != Absent && (o.Feed == s.A || o.Feed == s.B)
	case LeadsReversed:
		return o.Feed == Absent && o.Step == s.A
	case StepsExchanged:
		return o.Step == s.A || o.Step == s.B
	}
	return o.Step == s.A
}

// Correct changes the observations, or the lit step, to what they should be if a mistake was made.
func (p *Problem) Correct(s Mistake) {
	for i := range p.Observations {
		o := &p.Observations[i]
		if !s.Affects(o) {
			continue
		}
		switch s.Kind {
		case FeedsSwapped:
			o.Feed = s.A + s.B - o.Feed
		case LeadsReversed:
			o.Value = -o.Value
		}
	}
	switch s.Kind {
	case WrongLoad:
		p.LitStep[s.A] = s.B
	case StepsExchanged:
		p.LitStep[s.A], p.LitStep[s.B] = p.Steps[s.B], p.Steps[s.A]
	}
}

// UndoCorrection reverses Correct.
func (p *Problem) UndoCorrection(s Mistake) {
	switch s.Kind {
	case WrongLoad:
		p.LitStep[s.A] = p.Steps[s.A]
	case StepsExchanged:
		p.LitStep[s.A], p.LitStep[s.B] = p.Steps[s.A], p.Steps[s.B]
	default:
		p.Correct(s)
	}
}

// PossibleMistakes lists the mistakes that the readings allow: an exchange of any two feeds with
// current readings, reversed leads in any step in which most pair voltages are negative, any other
// load in any step with readings, and an exchange of any two such steps.
func (p *Problem) PossibleMistakes() (list []Mistake) {
	clamped := map[int]bool{}
	pairs, negative := make([]int, p.ReadSteps), make([]int, p.ReadSteps)
	for i := range p.Observations {
		o := &p.Observations[i]
		if o.Feed != Absent {
			clamped[o.Feed] = true
			continue
		}
		if o.From.Place == o.To.Place {
			pairs[o.Step]++
			if (o.Value < 0) == (o.From.Rail == run.Plus) {
				negative[o.Step]++
			}
		}
	}
	for k := range p.ReadSteps {
		if pairs[k] >= minReversedPairs && 2*negative[k] > pairs[k] {
			list = append(list, Mistake{LeadsReversed, k, 0})
		}
	}
	for a := range p.Run.Feeds {
		for b := range a {
			if clamped[a] && clamped[b] {
				list = append(list, Mistake{FeedsSwapped, a, b})
			}
		}
	}
	for k := range p.ReadSteps {
		for b := range p.Run.Steps {
			if b != p.LitStep[k] {
				list = append(list, Mistake{WrongLoad, k, b})
			}
		}
		for b := range k {
			if p.LitStep[k] == p.Steps[k] && p.LitStep[b] == p.Steps[b] {
				list = append(list, Mistake{StepsExchanged, k, b})
			}
		}
	}
	return list
}

// minReversedPairs is the least number of pair voltages in a step for which reversed leads are
// considered.
const minReversedPairs = 2
