// Package guide conducts a walk along a run for all who take part in it: each event is safe in the
// store before it counts, the estimates are computed in the background, a meter on a port is read
// all the time, and everyone who follows sees each change.
//
// A walk goes on where it was after the program has ended in any way, and from another program on
// the same store: an event is accepted only from a device that has seen all events before it
// (store.AddEntry holds this across programs). In practise mode nothing is stored, and the readings
// come from a simulated run.
package guide

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"ohmkeep/internal/assess/plan"
	"ohmkeep/internal/assess/walk"
	"ohmkeep/internal/fault"
	"ohmkeep/internal/instrument/survey"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/store"
)

// Config is what a session is made of.
type Config struct {
	Run   *run.Run
	Store *store.Store // nil in practise mode: nothing is kept
	// Own is the number of the run's meters, from the first on, whose values a person can type; those after it
	// belong to probes.
	Own    int
	Probes []survey.Probe   // opened
	Absent []string         // the probes that could not be opened, and why, in words
	Steps  []string         // to walk, by name; nil = all
	All    bool             // read every place, not only what the plan needs
	Since  time.Time        // what was read before that does not count; zero = within lastDay of the beginning
	Now    func() time.Time // nil = time.Now
	Seed   uint64           // of the run that is drawn in practise mode
}

const (
	// lastDay is how old a reading from before a walk may be to count: the run may have changed since
	// (common practice, no source).
	lastDay = 24 * time.Hour
	// maxPause is how long a walk may pause; one that was left for longer is not continued.
	maxPause = 7 * 24 * time.Hour
	// followEvery is how often the store is searched for events of other programs.
	followEvery = time.Second
)

// Session is a walk under way. All methods may be called from any goroutine.
type Session struct {
	config  Config
	plan    *plan.Plan
	journal journal
	source  source // of live readings; nil = values are typed
	truth   *practise

	doing     sync.Mutex    // held while an event is added
	measuring chan struct{} // full while an instrument measures

	mu      sync.Mutex
	walk    walk.Walk
	ready   bool
	problem string
	live    Live
	missed  []Missed
	reading *fixedReading // of the fixed probe that is read now; nil = none is
	changed chan struct{} // closed at the next change
}

// Missed is a reading that a fixed probe could not take, and why.
type Missed struct{ Place, Why string }

// New returns a session, which Prepare makes ready.
func New(c Config) *Session {
	if c.Now == nil {
		c.Now = time.Now
	}
	s := &Session{config: c, changed: make(chan struct{}), measuring: make(chan struct{}, 1)}
	if c.Store == nil {
		s.journal = &memory{}
	} else {
		s.journal = &stored{c.Store, c.Run}
		s.source = carried(c.Run, c.Probes)
	}
	return s
}

// Fail shows those who follow why Prepare has failed.
func (s *Session) Fail(err error) { s.update(func() { s.problem = err.Error() }) }

// Snapshot is a session at one moment.
type Snapshot struct {
	Ready    bool // the plan is made; until then Walk is empty
	Walk     walk.Walk
	Task     walk.Task
	Live     Live
	Missed   []Missed // of the step that was set last
	Problem  string   // why the estimates are not brought up to date; "" = they are
	Practise bool
}

// Snapshot returns the session as it is now.
func (s *Session) Snapshot() Snapshot {
	s.mu.Lock()
	defer s.mu.Unlock()
	x := Snapshot{Ready: s.ready, Walk: s.walk, Live: s.live, Missed: s.missed, Problem: s.problem, Practise: s.config.Store == nil}
	if s.ready {
		x.Task = s.walk.Task()
	}
	return x
}

// Changed returns a channel that is closed at the next change.
func (s *Session) Changed() <-chan struct{} {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.changed
}

// update changes the session and tells those who follow.
func (s *Session) update(change func()) {
	s.mu.Lock()
	defer s.mu.Unlock()
	change()
	close(s.changed)
	s.changed = make(chan struct{})
}

// Lasting reports whether an error of Measure, Take or Do will come back: that of a meter that is gone, or
// of the store. Others are of what a person has typed, or of a display that shows no value.
func Lasting(err error) bool {
	_, typed := errors.AsType[fault.Fault](err)
	return !typed && !errors.Is(err, errNoValue) && !errors.Is(err, walk.ErrStale)
}

// ErrNotReady is the error of an event before the plan is made.
var ErrNotReady = errors.New("the plan is not made yet")

// Take adds a reading of a person who has seen the walk up to an event. It refuses a value beyond
// the ranges of its meter.
func (s *Session) Take(ctx context.Context, seen int, x reading.Reading) error {
	if i := s.config.Run.MeterIndex(x.Meter); i >= 0 && !s.config.Run.Meters[i].Shows(x.Quantity, x.Value) {
		return fault.Fault{Key: "value", Text: fmt.Sprintf("%s %s is more than meter %q is described for", x.Text, x.Unit, x.Meter), Hint: "is the unit right?"}
	}
	return s.add(ctx, seen, func(w walk.Walk) walk.Event { return w.Event(x) })
}

// Do adds an event of a person who has seen the walk up to an event. It returns
// walk.ErrStale where there are later ones, and then the walk has them.
func (s *Session) Do(ctx context.Context, seen int, e walk.Event) error {
	return s.add(ctx, seen, func(walk.Walk) walk.Event { return e })
}

func (s *Session) add(ctx context.Context, seen int, event func(walk.Walk) walk.Event) error {
	s.doing.Lock()
	defer s.doing.Unlock()
	now := s.Snapshot()
	if !now.Ready {
		return ErrNotReady
	}
	if seen != now.Walk.Number() {
		return walk.ErrStale
	}
	e := event(now.Walk)
	if e.Kind == walk.Begin {
		return s.begin(ctx, e.Since)
	}
	w := now.Walk
	if len(w.Events()) == 0 {
		if err := s.begin(ctx, s.since()); err != nil {
			return err
		}
		w = s.Snapshot().Walk
	}
	if err := s.append(ctx, w, e); err != nil {
		return err
	}
	if e.Kind == walk.Shown {
		return s.readFixed(ctx, e.Step)
	}
	return nil
}

// append adds an event to a walk and keeps it. The caller holds s.doing.
func (s *Session) append(ctx context.Context, w walk.Walk, e walk.Event) error {
	e.Number = w.Number() + 1
	if e.Time.IsZero() {
		e.Time = s.config.Now()
	}
	after, err := w.Apply(e)
	if err != nil {
		return err
	}
	added, err := s.journal.add(ctx, e, w, after)
	switch {
	case err != nil:
		return err
	case !added:
		if err := s.reload(ctx); err != nil {
			return err
		}
		return walk.ErrStale
	}
	s.replace(after)
	return nil
}

// replace puts a later state of the walk in place of the one before, and keeps what was learned.
func (s *Session) replace(after walk.Walk) {
	s.update(func() {
		if k := s.walk.Known(); k != nil {
			after = after.With(k)
		}
		s.walk = after
	})
}
