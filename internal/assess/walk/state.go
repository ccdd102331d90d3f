package walk

import "slices"

// state is what the events of a walk amount to.
type state struct {
	step    string
	inForce []Event // readings that are neither undone nor replaced
	skipped map[key]bool
	left    map[string]bool // steps that are left out
	doubted *Event          // the last reading, if it is to be taken again
	last    *Event          // the last event at a place
	done    []Event         // what Undo takes out, the last one first
	undone  []Event         // what Redo puts back
	changed int             // number of the last event that changed the readings in force
	paused  bool
	ended   bool
}

// undoable reports whether Undo takes out an event of a kind.
func undoable(k Kind) bool { return k == Read || k == Skip || k == Shown || k == End }

// fold returns the state after some events.
func fold(events []Event) state {
	s := state{skipped: map[key]bool{}, left: map[string]bool{}}
	var kept []Event
	for _, e := range events {
		n := len(kept)
		switch {
		case e.Kind == Undo && n > 0:
			s.undone = append(s.undone, kept[n-1])
			kept = kept[:n-1]
			s.changed = e.Number
		case e.Kind == Redo && len(s.undone) > 0:
			m := len(s.undone)
			kept, s.undone = append(kept, s.undone[m-1]), s.undone[:m-1]
			s.changed = e.Number
		case undoable(e.Kind):
			kept, s.undone = append(kept, e), nil
			if e.Kind == Read || e.Withdraws {
				s.changed = e.Number
			}
		}
		s.paused = e.Kind == Pause || s.paused && (e.Kind == Note || e.Kind == Pause)
	}
	for _, e := range kept {
		s.apply(e)
	}
	s.done = kept
	return s
}

// apply adds an event that counts.
func (s *state) apply(e Event) {
	switch e.Kind {
	case Shown:
		s.step = e.Step
		delete(s.left, e.Step)
	case Read:
		if e.Replaces {
			s.inForce = slices.DeleteFunc(s.inForce, func(x Event) bool { return x.key() == e.key() })
		}
		s.inForce = append(s.inForce, e)
		delete(s.skipped, e.key())
		s.last, s.doubted = &e, nil
		if e.Doubt != nil {
			s.doubted = &e
		}
	case Skip:
		switch {
		case e.From == "":
			s.left[e.Step] = true
		case e.Withdraws:
			s.inForce = slices.DeleteFunc(s.inForce, func(x Event) bool { return x.key() == e.key() && !x.Fixed })
			s.skipped[e.key()] = true
			s.last = &e
		case s.doubted != nil && s.doubted.key() == e.key():
		default:
			s.skipped[e.key()] = true
			s.last = &e
		}
		s.doubted = nil
	case End:
		s.ended = true
	}
}
