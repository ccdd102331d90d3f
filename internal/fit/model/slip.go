package model

import "ohmkeep/internal/run"

// SlipKind is what a hand does to several readings at once.
type SlipKind int

const (
	FeedsExchanged SlipKind = iota // the currents of feeds A and B stand for each other
	LeadsReversed                  // all voltages of step A have the other sign
	OtherLoad                      // step A was read while step B of the run was shown
)

// Slip is a slip of the hand with what it concerns: feeds by their index in the run, step A by
// its place in Problem.Steps and step B by its index in the run.
type Slip struct {
	Kind SlipKind
	A, B int
}

// Concerns returns whether a slip changed what a reading says.
func (s Slip) Concerns(o *Observation) bool {
	switch s.Kind {
	case FeedsExchanged:
		return o.Feed != Absent && (o.Feed == s.A || o.Feed == s.B)
	case LeadsReversed:
		return o.Feed == Absent && o.Step == s.A
	}
	return o.Step == s.A
}

// Mend takes readings for what they are if a slip was made.
func (p *Problem) Mend(s Slip) {
	for i := range p.Observations {
		o := &p.Observations[i]
		if !s.Concerns(o) {
			continue
		}
		switch s.Kind {
		case FeedsExchanged:
			o.Feed = s.A + s.B - o.Feed
		case LeadsReversed:
			o.Value = -o.Value
		}
	}
	if s.Kind == OtherLoad {
		p.Shown[s.A] = s.B
	}
}

// Unmend takes readings as they were written again.
func (p *Problem) Unmend(s Slip) {
	if s.Kind == OtherLoad {
		s.B = p.Steps[s.A]
	}
	p.Mend(s)
}

// Slips lists those that may have been made with the readings there are: any two feeds whose
// currents were read, any step most of whose pair voltages are below zero, and any other
// load in any step that was read.
func (p *Problem) Slips() (list []Slip) {
	clamped := map[int]bool{}
	pairs, negative := make([]int, p.Read), make([]int, p.Read)
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
	for k := range p.Read {
		if pairs[k] >= fewPairs && 2*negative[k] > pairs[k] {
			list = append(list, Slip{LeadsReversed, k, 0})
		}
	}
	for a := range p.Run.Feeds {
		for b := range a {
			if clamped[a] && clamped[b] {
				list = append(list, Slip{FeedsExchanged, a, b})
			}
		}
	}
	for k := range p.Read {
		for b := range p.Run.Steps {
			if b != p.Shown[k] {
				list = append(list, Slip{OtherLoad, k, b})
			}
		}
	}
	return list
}

// fewPairs is from how many pair voltages on a step's leads are taken as reversed together.
const fewPairs = 2
