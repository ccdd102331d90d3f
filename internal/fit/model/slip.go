package model

import "ohmkeep/internal/run"

// SlipKind is what a hand does to several readings at once.
type MistakeKind int

const (
	FeedsSwapped  MistakeKind = iota // the currents of feeds A and B stand for each other
	LeadsReversed                    // all voltages of step A have the other sign
	WrongLoad                        // step A was read while step B of the run was shown
)

// Slip is a slip of the hand with what it concerns: feeds by their index in the run, step A by
// its place in Problem.Steps and step B by its index in the run.
type Mistake struct {
	Kind MistakeKind
	A, B int
}

// Concerns returns whether a slip changed what a reading says.
func (s Mistake) Affects(o *Observation) bool {
	switch s.Kind {
	case FeedsSwapped:
		return o.Feed != Absent && (o.Feed == s.A || o.Feed == s.B)
	case LeadsReversed:
		return o.Feed == Absent && o.Step == s.A
	}
	return o.Step == s.A
}

// Mend takes readings for what they are if a slip was made.
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
	if s.Kind == WrongLoad {
		p.LitStep[s.A] = s.B
	}
}

// Unmend takes readings as they were written again.
func (p *Problem) UndoCorrection(s Mistake) {
	if s.Kind == WrongLoad {
		s.B = p.Steps[s.A]
	}
	p.Correct(s)
}

// Slips lists those that may have been made with the readings there are: any two feeds whose
// currents were read, any step most of whose pair voltages are below zero, and any other
// load in any step that was read.
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
	}
	return list
}

// fewPairs is from how many pair voltages on a step's leads are taken as reversed together.
const minReversedPairs = 2
