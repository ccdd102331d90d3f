package store

import (
	"context"
	"database/sql"
	"fmt"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/store/internal/events"
)

// Entry is an entry of a run's journal: a mark, and the readings that it adds or changes. The entries
// of a run whose marks have the same kind are numbered from 1 on.
type Entry struct {
	Number   int
	Mark     Mark
	Source   string            // of the readings that are added
	Add      []reading.Reading // as by Append
	Withdraw []reading.Reading // as by Withdraw
	Restore  []reading.Reading // as by Restore
	Why      string            // they are withdrawn or restored
}

// AddEntry adds an entry to a journal, with all of its readings or none. Where another program has
// already added an entry with its number, or the one before it is missing, nothing is stored and added is
// false. When AddEntry returns without an error, the entry is safe on disk.
func (s *Store) AddEntry(ctx context.Context, runName string, e Entry) (added bool, err error) {
	for i, x := range e.Add {
		if err := checkStorable(x); err != nil {
			return false, fmt.Errorf("reading %d of %d: %w", i+1, len(e.Add), err)
		}
	}
	err = s.update(ctx, runName, func(tx *sql.Tx, runID int64) error {
		added = false
		n, err := events.Count(ctx, tx, runID, e.Mark.Kind)
		if err != nil || n != e.Number-1 {
			return err
		}
		if err := events.Add(ctx, tx, runID, e.Mark); err != nil {
			return err
		}
		if err := appendIn(ctx, tx, runName, runID, e.Source, e.Add); err != nil {
			return err
		}
		for out, readings := range map[bool][]reading.Reading{true: e.Withdraw, false: e.Restore} {
			if len(readings) == 0 {
				continue
			}
			if _, _, err := requalifyIn(ctx, tx, runID, readings, out, e.Why, e.Mark.Time); err != nil {
				return err
			}
		}
		added = true
		return nil
	})
	return added && err == nil, err
}

// appendIn adds readings of a run within a transaction.
func appendIn(ctx context.Context, tx *sql.Tx, runName string, runID int64, source string, readings []reading.Reading) error {
	if len(readings) == 0 {
		return nil
	}
	into, err := newAppender(ctx, tx, runName, runID, source)
	if err != nil {
		return err
	}
	for _, x := range readings {
		if err = into.add(ctx, x); err != nil {
			break
		}
	}
	if err == nil {
		_, err = into.flush(ctx)
	}
	if closing := into.close(ctx); err == nil {
		err = closing
	}
	return err
}

// EntryCount returns how many entries the journal of a kind has.
func (s *Store) EntryCount(ctx context.Context, runName, kind string) (n int, err error) {
	err = s.view(ctx, runName, func(tx *sql.Tx, runID int64) error {
		n, err = events.Count(ctx, tx, runID, kind)
		return err
	})
	return n, err
}
