package guide

import (
	"context"
	"time"

	"ohmkeep/internal/assess/walk"
)

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
