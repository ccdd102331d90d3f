package guide

import (
	"context"
	"sync"
	"time"

	"ohmkeep/internal/assess/walk"
)

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
