package recorder

import (
	"errors"
	"fmt"
	"time"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/watch/machine"
)

// steps holds which step the run showed at which time.
type steps struct {
	run       *run.Run
	announced string   // the last announced step
	scheduled int      // index into run.Checks of the check that is on, or -1
	past      []change // newest last; never empty after use
}

// change is the beginning of a step.
type change struct {
	from    time.Duration // since boot
	settled time.Duration // end of the settling time, since boot
	step    string
}

// maxPastSteps is the number of changes that are kept, for lines that arrived before the newest
// change and are read after it.
const maxPastSteps = 16

// use replaces the run. A present step that the new run does not have ends.
func (s *steps) use(r *run.Run) {
	s.run, s.scheduled = r, -1
	if s.announced != "" && r.StepIndex(s.announced) < 0 {
		s.announced = ""
	}
	if n := len(s.past); n > 0 && s.past[n-1].step != "" && r.StepIndex(s.past[n-1].step) < 0 {
		s.past = append(s.past, change{from: s.past[n-1].from, step: ""})
	}
}

// at returns the step at a time since boot, and the quality Unsettled within its settling time.
func (s *steps) at(since time.Duration) (step string, q reading.Quality) {
	for i := len(s.past) - 1; i >= 0; i-- {
		if c := s.past[i]; since >= c.from {
			if since < c.settled {
				return c.step, reading.Unsettled
			}
			return c.step, reading.Good
		}
	}
	return "", reading.Good
}

func (s *steps) begin(step string, from, settle time.Duration) {
	s.past = append(s.past, change{from, from + settle, step})
	if len(s.past) > maxPastSteps {
		s.past = s.past[1:]
	}
}

func (s *steps) current() string {
	if n := len(s.past); n > 0 {
		return s.past[n-1].step
	}
	return ""
}

// followSchedule sets the scheduled step and reports whether the step changed. While the clock is
// uncertain no scheduled step is on.
func (s *steps) followSchedule(now machine.Stamp, certain bool) (was, is string, changed bool) {
	on := -1
	var begun time.Duration
	if certain {
		on, begun = scheduledAt(s.run, now)
	}
	if on == s.scheduled {
		return "", "", false
	}
	was = s.current()
	s.scheduled = on
	is = s.announced
	if on >= 0 {
		check := s.run.Checks[on]
		is = s.run.Steps[check.Step].Name
		settle := time.Duration(check.Settle*float64(time.Second)) - begun
		s.begin(is, now.SinceBoot, max(settle, 0))
	} else {
		s.begin(is, now.SinceBoot, 0)
	}
	return was, is, was != is
}

// scheduledAt returns the index of the check that is on, and how long it has been on; -1 if
// there is none. The schedule is in the machine's own time zone.
func scheduledAt(r *run.Run, now machine.Stamp) (i int, begun time.Duration) {
	local := now.Time.Local()
	for i, c := range r.Checks {
		for _, day := range []int{0, -1} { // one that began before midnight may be on
			start := time.Date(local.Year(), local.Month(), local.Day()+day, c.At/60, c.At%60, 0, 0, local.Location())
			if begun := local.Sub(start); begun >= 0 && begun < time.Duration(c.Seconds*float64(time.Second)) {
				return i, begun
			}
		}
	}
	return -1, 0
}

// MaxSettle is the longest settling time of an announced step. Readings within it have the
// quality Unsettled.
const MaxSettle = time.Minute

// A controller announces a few steps at a time; faster announcements are refused. The rate of
// marks is lower, so that a controller that changes its step all the time does not fill the
// store with them.
const (
	announceBurst, announceInterval = 60, time.Second
	stepMarkBurst, stepMarkInterval = 20, time.Minute
)

// ErrTooOften is the error of Announce for a sender that announces too many steps.
var ErrTooOften = errors.New("steps are announced too often: more than 60 at once, or one a second")

// Announce sets the step that the run shows from now on, "" for an unknown one. For the time
// settle, readings are unsettled. sender is stored in the mark of the step. The error is a
// fault.Fault or ErrTooOften.
func (r *Recorder) Announce(step string, settle time.Duration, sender string) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if step != "" && r.plan.Run.StepIndex(step) < 0 {
		var known []string
		for _, s := range r.plan.Run.Steps {
			known = append(known, s.Name)
		}
		return fault.Fault{Key: "step", Text: fmt.Sprintf("no step is named %q", step), Hint: fault.Suggest(step, known)}
	}
	if settle < 0 || settle > MaxSettle {
		return fault.Fault{Key: "settle", Text: fmt.Sprintf("%v is not a time to settle", settle), Hint: "0 s to 60 s"}
	}
	now := r.o.Clock.Now()
	if _, ok := r.announced.allow(now.SinceBoot); !ok {
		return ErrTooOften
	}
	was := r.steps.current()
	r.steps.announced = step
	if r.steps.scheduled >= 0 {
		return nil // the announced step begins after the scheduled one
	}
	r.steps.begin(step, now.SinceBoot, settle)
	if was == step && settle == 0 {
		return nil
	}
	if more, ok := r.stepMarks.allow(now.SinceBoot); ok {
		text := fmt.Sprintf("%q, announced by %s", step, sender)
		if settle > 0 {
			text += fmt.Sprintf(", unsettled for %v", settle)
		}
		r.mark(now, Announced, "", text+more)
		r.o.Log.Info("step announced", "was", was, "is", step, "settle", settle, "by", sender+more)
	}
	return nil
}
