package storage

import (
	"context"
	"fmt"
	"time"

	"ohmkeep/internal/store"
)

// guardInterval is the time between two checks that the store is at its path.
const guardInterval = time.Second

// guard checks regularly, until the store is closed, whether its file was removed, renamed
// or replaced. It does so even while nothing is committed.
func (s *Store) guard() {
	tick := time.NewTicker(guardInterval)
	defer tick.Stop()
	for {
		select {
		case <-s.stop:
			return
		case <-tick.C:
			s.checkPlace(context.Background())
		}
	}
}

// stopGuard ends guard.
func (s *Store) stopGuard() {
	s.noteMu.Lock()
	defer s.noteMu.Unlock()
	select {
	case <-s.stop:
	default:
		close(s.stop)
	}
}

// checkPlace continues with a new file if the store was removed, renamed or replaced.
func (s *Store) checkPlace(ctx context.Context) {
	if s.use(func(file *store.Store) error { return file.Displaced() }) == nil {
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.file == nil {
		return // the next commit opens it
	}
	if err := s.moveToNewFile(ctx); err != nil {
		s.o.Log.Error("the store cannot be written to a new file", "store", s.o.Path, "why", err)
	}
}

// moveToNewFile writes the content of a displaced store to a new file and opens that. The
// caller holds mu.
func (s *Store) moveToNewFile(ctx context.Context) error {
	why := s.file.Displaced()
	if why == nil {
		return nil // another goroutine has done it
	}
	_ = s.writer.Close() // the claimed file no longer exists
	kept, err := s.file.MoveToNewFile(ctx)
	if err != nil {
		return err
	}
	s.writer, s.file = nil, nil
	text := fmt.Sprintf("%v; what it held was written to a new file in its place at %s", why, s.o.Now().Format(time.RFC3339))
	if kept != "" {
		text = fmt.Sprintf("%v; what it held was written to %s at %s, later readings are in the new file of that name",
			why, kept, s.o.Now().Format(time.RFC3339))
	}
	s.noteMu.Lock()
	if s.moved = append(s.moved, text); len(s.moved) > maxMoved {
		s.moved = s.moved[1:]
	}
	s.noteMu.Unlock()
	s.o.Log.Error("the store was displaced", "what", text)
	if err := s.openOrRescue(ctx); err != nil {
		return err
	}
	if err := s.file.Mark(ctx, s.o.Run, store.Mark{Time: s.o.Now(), Kind: store.MarkDamaged, Text: text}); err != nil {
		s.o.Log.Warn("the mark of the displaced store could not be stored", "why", err)
	}
	return nil
}

// maxMoved is how many of these notes are kept.
const maxMoved = 3
