package storage

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"ohmkeep/internal/store"
)

// minRescueInterval is the shortest time between two rescues, for a disk that damages each
// new file.
const minRescueInterval = 10 * time.Minute

// rescue renames the damaged file and continues with a new one.
func (s *Store) rescue(ctx context.Context, why error) error {
	s.noteMu.Lock()
	soon := !s.rescued.IsZero() && s.o.Now().Sub(s.rescued) < minRescueInterval
	s.noteMu.Unlock()
	if soon {
		return why
	}
	s.o.Log.Error("the store is damaged; its readable content is copied to a new one", "store", s.o.Path, "why", why)
	_ = s.closeFile() // its error is about the known damage
	rescued, err := store.Rescue(ctx, s.o.Path)
	if err != nil {
		return errors.Join(why, err)
	}
	aside := rescued.Aside
	s.noteMu.Lock()
	s.damagedFile, s.rescued = aside, s.o.Now()
	s.noteMu.Unlock()
	s.o.Log.Error("the damaged store was renamed", "store", s.o.Path, "kept as", aside, "readings", rescued.Readings, "lost", rescued.Lost,
		"without a place", rescued.Orphans)
	if err := s.openFile(ctx); err != nil || rescued.Readings > 0 {
		return err // Rescue has marked the replacement in each run with readings
	}
	if err := s.file.Mark(ctx, s.o.Run, store.Mark{Time: s.o.Now(), Kind: store.MarkDamaged, Text: "kept as " + aside}); err != nil {
		s.o.Log.Warn("the damage is not marked", "why", err)
	}
	return nil
}

// checkInterval is the time between two checks. It is long because a check reads the whole store.
const checkInterval = 7 * 24 * time.Hour

// check reads the whole store, after the start and once a week, and reports new damage.
func (s *Store) check(ctx context.Context) {
	s.noteMu.Lock()
	soon := !s.checked.IsZero() && s.o.Now().Sub(s.checked) < checkInterval-time.Hour
	s.noteMu.Unlock()
	if soon {
		return
	}
	var found store.Found
	err := s.use(func(file *store.Store) (err error) {
		found, err = file.Check(ctx)
		return err
	})
	if err != nil {
		if !store.Damaged(err) {
			return // the watch ends, or the store is closed, which Keep reports
		}
		found.Faults = append(found.Faults, err.Error())
	}
	s.noteMu.Lock()
	defer s.noteMu.Unlock()
	if len(found.Faults) > 0 && !slices.Equal(found.Faults, s.faults) {
		s.o.Log.Error("the store is damaged", "store", s.o.Path, "what", found.Faults[0], "faults", len(found.Faults))
	}
	s.faults, s.checked = found.Faults, s.o.Now()
}

// Notes returns notes on damage and displacement of the store; none if it is undamaged.
func (s *Store) Notes() (notes []string) {
	s.noteMu.Lock()
	defer s.noteMu.Unlock()
	if n := len(s.faults); n > 0 {
		notes = append(notes, fmt.Sprintf("%s is damaged: %s (faults: %d; undamaged readings are still used, and ohmkeep store compact keeps them)",
			s.o.Path, s.faults[0], n))
	}
	if s.damagedFile != "" {
		notes = append(notes, fmt.Sprintf("%s was damaged and is kept as %s; its readable content was copied to a new file at %s", s.o.Path, s.damagedFile,
			s.rescued.Format(time.RFC3339)))
	}
	return append(notes, s.moved...)
}
