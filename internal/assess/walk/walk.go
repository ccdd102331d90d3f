// Package walk leads a person along a run from reading to reading until every element is settled.
//
// A Walk is a value: Apply returns the walk after one more event, and the same events give the same
// walk. It starts no goroutine and reads no clock or file. What takes long, the fit and the
// verdicts, is Learn: a caller may compute it while the person goes on, and give the result to
// With. Until then the walk goes by the readings that it has learned from before; Task says how many.
//
// What is asked is the plan of package plan, as far as an element that is not settled still needs it
// (rest.go), and then what package nextreading proposes. Each step is set once, and the run is
// walked along once in it, to and fro (order.go). A reading that contradicts those before it is
// asked again (doubt.go).
package walk

import (
	"errors"
	"fmt"
	"slices"

	"ohmkeep/internal/assess/plan"
	"ohmkeep/internal/fault"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// Walk is a walk along a run, after some events.
type Walk struct {
	run     *run.Run
	plan    *plan.Plan
	options Options
	start   int // number of the event before the first one
	events  []Event
	state   state
	known   *Knowledge
}

// Options are the settings of a walk. The zero value is ready to use.
type Options struct {
	Before []reading.Reading // what was read before the walk
	Number int               // of the last event before the walk
	Steps  []string          // the only ones to read in; nil = all
	// All asks for every reading of the plan, also those that no element needs any more, and for
	// nothing else.
	All bool
}

// New returns the walk along the run of a plan.
func New(p *plan.Plan, o Options) Walk {
	return Walk{run: p.Run, plan: p, options: o, start: o.Number, state: fold(nil)}
}

// ErrStale is the error of an event whose number is not the next one: another device has added one
// meanwhile.
var ErrStale = errors.New("the walk has gone on meanwhile, on another device")

// Apply returns the walk after an event. It returns ErrStale for an event with another number than
// Number()+1, and an error for one that makes no sense in this state; the walk is then unchanged.
func (w Walk) Apply(e Event) (Walk, error) {
	if e.Number != w.Number()+1 {
		return w, ErrStale
	}
	if err := w.check(e); err != nil {
		return w, err
	}
	w.events = append(slices.Clip(w.events), e)
	w.state = fold(w.events)
	return w, nil
}

// check returns a fault.Fault for an event that makes no sense.
func (w Walk) check(e Event) error {
	switch e.Kind {
	case Undo:
		if len(w.state.done) == 0 {
			return fault.Fault{Text: "there is nothing to undo"}
		}
	case Redo:
		if len(w.state.undone) == 0 {
			return fault.Fault{Text: "nothing was undone"}
		}
	case Read:
		if err := w.checkStep(e.Step); err != nil {
			return err
		}
		_, err := e.Reading()
		return err
	case Shown:
		return w.checkStep(e.Step)
	case Note:
		if e.Text == "" {
			return fault.Fault{Text: "the note is empty"}
		}
	case Begin, Skip, Pause, Resume, End:
	default:
		return fault.Fault{Text: fmt.Sprintf("a walk has no event %q", e.Kind)}
	}
	return nil
}

func (w Walk) checkStep(name string) error {
	if w.run.StepIndex(name) >= 0 {
		return nil
	}
	var names []string
	for _, s := range w.run.Steps {
		names = append(names, s.Name)
	}
	return fault.Fault{File: w.run.File, Key: "step", Text: fmt.Sprintf("no step is named %q", name), Hint: fault.Suggest(name, names)}
}

// Number returns the number of the last event.
func (w Walk) Number() int { return w.start + len(w.events) }

// Run returns the run.
func (w Walk) Run() *run.Run { return w.run }

// Plan returns the plan.
func (w Walk) Plan() *plan.Plan { return w.plan }

// Events returns the events in their order.
func (w Walk) Events() []Event { return slices.Clone(w.events) }

// Step returns the step that the run shows; "" = none was set yet.
func (w Walk) Step() string { return w.state.step }

// Paused reports whether the walk is paused.
func (w Walk) Paused() bool { return w.state.paused }

// CanUndo and CanRedo report whether Undo and Redo make sense.
func (w Walk) CanUndo() bool { return len(w.state.done) > 0 }
func (w Walk) CanRedo() bool { return len(w.state.undone) > 0 }

// Taken returns the readings of this walk that are in force, in their order.
func (w Walk) Taken() []reading.Reading {
	var list []reading.Reading
	for _, e := range w.state.inForce {
		x, _ := e.Reading() // Apply has checked it
		list = append(list, x)
	}
	return list
}

// Readings returns all readings in force: those before the walk, and its own.
func (w Walk) Readings() []reading.Reading {
	return append(slices.Clip(w.options.Before), w.Taken()...)
}

// Changes returns what a later state of a walk has changed in the readings in force: those that are
// new, those that no longer count, and those that count again.
func (w Walk) Changes(after Walk) (added, gone, back []reading.Reading) {
	numbers := func(w Walk) map[int]bool {
		m := map[int]bool{}
		for _, e := range w.state.inForce {
			m[e.Number] = true
		}
		return m
	}
	before, now := numbers(w), numbers(after)
	for _, e := range after.events {
		x, err := e.Reading()
		switch {
		case e.Kind != Read || err != nil || before[e.Number] == now[e.Number]:
		case before[e.Number]:
			gone = append(gone, x)
		case e.Number > w.Number():
			added = append(added, x)
		default:
			back = append(back, x)
		}
	}
	return added, gone, back
}
