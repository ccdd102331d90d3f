// Package guide conducts a walk along a run for all who take part in it: each event is safe in the
// store before it counts, the estimates are computed in the background, a meter on a port is read
// all the time, and whoever follows is told of each change.
//
// A walk goes on where it was after the program has ended in any way, and from another program on
// the same store: an event is accepted only from somebody who has seen all events before it
// (store.AddEntry holds this across programs). In practise mode nothing is stored, and the readings
// come from a simulated run.
package guide

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"ohmkeep/internal/assess/nextreading"
	"ohmkeep/internal/assess/plan"
	"ohmkeep/internal/assess/walk"
	"ohmkeep/internal/fault"
	"ohmkeep/internal/instrument/survey"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/assessment"
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

	doing     sync.Mutex // held while an event is added
	measuring sync.Mutex // held while an instrument measures

	mu      sync.Mutex
	walk    walk.Walk
	ready   bool
	problem string
	live    Live
	missed  []Missed
	changed chan struct{} // closed at the next change
}

// Missed is a reading that a fixed probe could not take, and why.
type Missed struct{ Place, Why string }

// New returns a session, which Prepare makes ready.
func New(c Config) *Session {
	if c.Now == nil {
		c.Now = time.Now
	}
	s := &Session{config: c, changed: make(chan struct{})}
	if c.Store == nil {
		s.journal = &memory{}
	} else {
		s.journal = &stored{c.Store, c.Run}
		s.source = carried(c.Run, c.Probes)
	}
	return s
}

// Prepare makes the plan, which takes some seconds for a long run, and continues the walk in the
// store or begins one. The errors are those of the plan and of the store.
func (s *Session) Prepare(ctx context.Context) error {
	if s.config.Store == nil {
		t, err := newPractise(s.config.Run, s.config.Seed)
		if err != nil {
			return err
		}
		s.truth, s.source = t, t
	}
	var err error
	if s.plan, err = s.makePlan(); err != nil {
		return err
	}
	w, err := s.load(ctx)
	if err != nil {
		return err
	}
	s.update(func() { s.walk, s.ready = w, true })
	return nil
}

// Fail shows those who follow why Prepare has failed.
func (s *Session) Fail(err error) { s.update(func() { s.problem = err.Error() }) }

// makePlan returns the readings to take: the plan's, or all places, without what fixed probes read.
func (s *Session) makePlan() (*plan.Plan, error) {
	r := s.config.Run
	meters := nextreading.CarriedMeters(r)
	var p *plan.Plan
	if !s.config.All {
		made, err := plan.Make(r, meters)
		if err != nil {
			return nil, err
		}
		p = made
	}
	chosen := func(round plan.Round) bool {
		return s.config.Steps == nil || slices.Contains(s.config.Steps, round.Step)
	}
	if p == nil || !slices.ContainsFunc(p.Rounds, chosen) {
		p = everyPlace(r, meters) // the plan needs none of the steps that are chosen
	}
	fixed := map[survey.Visit]bool{}
	for _, probe := range s.config.Probes {
		for _, c := range probe.Channels {
			if c.From != "" {
				fixed[survey.Visit{Quantity: c.Quantity, From: c.From, To: c.To}] = true
			}
		}
	}
	rounds := p.Rounds
	p.Rounds = nil
	for _, round := range rounds {
		round.Reads = slices.DeleteFunc(slices.Clone(round.Reads), func(n assessment.Next) bool {
			return fixed[survey.Visit{Quantity: n.Quantity, From: n.From, To: n.To}] || !s.measures(n.Quantity)
		})
		if len(round.Reads) > 0 {
			p.Rounds = append(p.Rounds, round)
		}
	}
	return p, nil
}

// everyPlace is a plan of all places in all steps.
func everyPlace(r *run.Run, meters []int) *plan.Plan {
	p := &plan.Plan{Run: r, Warnings: r.ParallelWarnings()}
	for _, m := range meters {
		p.Meters = append(p.Meters, r.Meters[m].Name)
	}
	for _, step := range r.Steps {
		round := plan.Round{Step: step.Name}
		for _, v := range survey.Thorough(r) {
			n := assessment.Next{Quantity: v.Quantity, From: v.From, To: v.To, Step: step.Name}
			for _, m := range meters {
				if r.Meters[m].Measures(v.Quantity) {
					n.Meter = r.Meters[m].Name
					break
				}
			}
			round.Reads = append(round.Reads, n)
		}
		p.Readings += len(round.Reads)
		p.Rounds = append(p.Rounds, round)
	}
	return p
}

// measures reports whether a person can take a reading of a quantity.
func (s *Session) measures(q run.Quantity) bool {
	if s.source != nil && s.source.meter(q) != "" {
		return true
	}
	return slices.ContainsFunc(s.config.Run.Meters[:s.config.Own], func(m run.Meter) bool { return m.Measures(q) })
}

// Unmeasured lists the quantities of the run that no meter at hand measures.
func (s *Session) Unmeasured() (list []run.Quantity) {
	for _, q := range []run.Quantity{run.Voltage, run.Current} {
		if !s.measures(q) {
			list = append(list, q)
		}
	}
	return list
}

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

// TypedMeter returns the name of the meter whose value a person types for a reading: the one that the
// walk asks for, or the first of the run that measures the quantity.
func (s *Session) TypedMeter(n assessment.Next) string {
	r := s.config.Run
	if i := r.MeterIndex(n.Meter); i >= 0 && i < s.config.Own {
		return n.Meter
	}
	for _, m := range r.Meters[:s.config.Own] {
		if m.Measures(n.Quantity) {
			return m.Name
		}
	}
	return n.Meter
}

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

// since returns the time from which on readings count for a walk that begins now.
func (s *Session) since() time.Time {
	if !s.config.Since.IsZero() {
		return s.config.Since
	}
	return s.config.Now().Add(-lastDay)
}

// begin begins a walk. The caller holds s.doing.
func (s *Session) begin(ctx context.Context, since time.Time) error {
	now := s.config.Now()
	if since.IsZero() {
		since = now
	}
	before, err := s.journal.before(ctx, since, now)
	if err != nil {
		return err
	}
	w := walk.New(s.plan, walk.Options{Before: before, Number: s.Snapshot().Walk.Number(), Steps: s.config.Steps, All: s.config.All})
	return s.append(ctx, w, walk.Event{Kind: walk.Begin, Time: now, Since: since})
}

// load returns the walk of the store, or one that has not begun.
func (s *Session) load(ctx context.Context) (walk.Walk, error) {
	events, err := s.journal.events(ctx)
	if err != nil {
		return walk.Walk{}, err
	}
	options := walk.Options{Number: len(events), Steps: s.config.Steps, All: s.config.All}
	at := 0
	for i, e := range events {
		if e.Kind == walk.Begin {
			at = i
		}
	}
	if n := len(events); n > 0 && events[at].Kind == walk.Begin && events[n-1].Kind != walk.End && s.config.Now().Sub(events[n-1].Time) < maxPause {
		options.Number = at
		if options.Before, err = s.journal.before(ctx, events[at].Since, events[at].Time); err != nil {
			return walk.Walk{}, err
		}
		w := walk.New(s.plan, options)
		for _, e := range events[at:] {
			if w, err = w.Apply(e); err != nil {
				break // the run file has changed; another walk begins
			}
		}
		if err == nil {
			return w, nil
		}
		options.Number = n
	}
	now := s.config.Now()
	if options.Before, err = s.journal.before(ctx, s.since(), now); err != nil {
		return walk.Walk{}, err
	}
	return walk.New(s.plan, options), nil
}

// reload reads the walk again, because another program has added events. The caller holds s.doing.
func (s *Session) reload(ctx context.Context) error {
	w, err := s.load(ctx)
	if err == nil {
		s.replace(w)
	}
	return err
}

// Run learns from the readings, follows other programs, and reads the live meter, until the context
// ends.
func (s *Session) Run(ctx context.Context) {
	var all sync.WaitGroup
	all.Go(func() { s.learnAlways(ctx) })
	all.Go(func() { s.follow(ctx) })
	all.Go(func() { s.readLive(ctx) })
	all.Wait()
}

// learnAlways learns whenever readings have changed.
func (s *Session) learnAlways(ctx context.Context) {
	for ctx.Err() == nil {
		changed, now := s.Changed(), s.Snapshot()
		if now.Ready && now.Walk.Stale() {
			s.learn(now.Walk)
			continue
		}
		select {
		case <-changed:
		case <-ctx.Done():
		}
	}
}

// learn takes the readings of a walk into account.
func (s *Session) learn(w walk.Walk) {
	k, err := w.Learn()
	s.update(func() {
		if s.problem = ""; err != nil {
			s.problem = err.Error()
			k = w.Unknown()
		}
		s.walk = s.walk.With(k)
	})
}

// Learned waits until the estimates include all readings, or the context ends.
func (s *Session) Learned(ctx context.Context) {
	for ctx.Err() == nil {
		changed, now := s.Changed(), s.Snapshot()
		if now.Ready && !now.Walk.Stale() {
			return
		}
		select {
		case <-changed:
		case <-ctx.Done():
		}
	}
}

// follow takes over what other programs add to the walk.
func (s *Session) follow(ctx context.Context) {
	ticks := time.NewTicker(followEvery)
	defer ticks.Stop()
	for {
		select {
		case <-ticks.C:
		case <-ctx.Done():
			return
		}
		s.doing.Lock()
		if now := s.Snapshot(); now.Ready {
			if n, err := s.journal.count(ctx); err == nil && n > now.Walk.Number() {
				_ = s.reload(ctx) // the next tick tries again
			}
		}
		s.doing.Unlock()
	}
}
