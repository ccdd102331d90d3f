package walk

import (
	"slices"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// TaskKind is the kind of what there is to do next.
type TaskKind string

// The kinds of tasks.
const (
	SetStep  TaskKind = "step"     // make the run show a step
	Measure  TaskKind = "read"     // take a reading
	Learning TaskKind = "learning" // wait until Learn has taken the last readings into account
	Finished TaskKind = "done"     // nothing is left to read
)

// Task is the next thing to do, and how far the walk is.
type Task struct {
	Kind  TaskKind
	Step  string          // to set, or of the reading
	Read  assessment.Next // to take
	Again *Doubt          // why the reading is asked again; nil = it is asked for the first time

	// Settled reports, of a finished walk, that every element has passed or failed. Unproven
	// lists the elements that have not.
	Settled  bool
	Unproven []Unproven
	LeftOut  int // readings of a finished walk that a person left out, also by ending it, or by choosing steps

	Taken   int // readings of this walk
	Learned int // the first ones of them, which the estimates include
	Left    int // how many are left to take, as far as is known
}

// Unproven is an element that is not settled, and why.
type Unproven struct{ Name, Why string }

// Task returns the next thing to do.
func (w Walk) Task() Task {
	t := Task{Taken: len(w.state.inForce)}
	if w.known != nil {
		t.Learned = min(w.known.taken, t.Taken)
	}
	if w.state.ended {
		return w.finished(t)
	}
	rest := w.rest()
	t.Left = len(rest)
	again, doubt := w.again()
	switch {
	case doubt != nil:
		t.Read, t.Again = again, doubt
		t.Left++
	case len(rest) > 0:
		t.Read = w.nearest(rest)
	case w.known == nil || w.known.number < w.state.changed:
		t.Kind = Learning
		return t
	default:
		return w.finished(t)
	}
	t.Step, t.Kind = t.Read.Step, Measure
	if t.Step != w.state.step {
		t.Kind = SetStep
	}
	return t
}

// finished completes the task of a finished walk.
func (w Walk) finished(t Task) Task {
	t.LeftOut = w.leftOut()
	t.Kind, t.Left = Finished, 0
	if w.known == nil {
		return t
	}
	why := "no reading that the meters can take would decide it"
	if t.LeftOut > 0 {
		why = "readings that may decide it were left out"
	}
	loops := map[string]bool{} // elements whose loop is judged: their rails need no verdict
	name := func(x assessment.Element) string { return string(x.Kind) + " " + x.Name }
	for _, x := range w.known.Elements {
		loops[name(x)] = loops[name(x)] || x.Rail == run.Loop
	}
	for _, x := range w.known.Elements {
		if x.Verdict != assessment.Unproven || x.Rail != run.Loop && loops[name(x)] {
			continue
		}
		u := Unproven{Name: name(x), Why: why}
		for _, e := range w.plan.Elements {
			if e.Kind == x.Kind && e.Name == x.Name && e.Why != "" {
				u.Why = e.Why
			}
		}
		t.Unproven = append(t.Unproven, u)
	}
	t.Settled = len(t.Unproven) == 0 && !w.known.Doubtful
	return t
}

// leftOut returns how many readings were left out.
func (w Walk) leftOut() int {
	n := len(w.state.skipped)
	if w.state.ended {
		n += len(w.rest())
	}
	taken := map[key]bool{}
	for _, x := range w.Readings() {
		taken[ReadingEvent(x).key()] = true
	}
	for _, r := range w.plan.Rounds {
		if !w.state.left[r.Step] && (w.options.Steps == nil || slices.Contains(w.options.Steps, r.Step)) {
			continue
		}
		for _, x := range r.Reads {
			if k := keyOf(x); !taken[k] && !w.state.skipped[k] {
				n++
			}
		}
	}
	return n
}
