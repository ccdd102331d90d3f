package store

import (
	"context"
	"database/sql"
	"slices"
	"time"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/store/internal/delivery"
	"ohmkeep/internal/store/internal/events"
	"ohmkeep/internal/store/internal/tables"
)

// Mark is an event of a run: a note of a person, a gap, a restart.
type Mark = events.Mark

// Kinds of marks; a program may have others.
const (
	MarkNote    = events.Note
	MarkGap     = events.Gap
	MarkLost    = events.Lost
	MarkRestart = events.Restart
	MarkStop    = events.Stop
	MarkDropped = events.Dropped
	MarkRunFile = events.RunFile
	MarkBoot    = events.Boot
	MarkClock   = events.Clock
	MarkStalled = events.Stalled
	MarkDamaged = events.Damaged
	MarkTaken   = events.Taken
	MarkPutBack = events.PutBack
	MarkThinned = events.Thinned
	MarkRedated = events.Redated
	MarkWalk    = events.Walk
)

// Mark adds marks to a run, in one commit.
func (s *Store) Mark(ctx context.Context, runName string, marks ...Mark) error {
	for _, m := range marks {
		if !reading.Storable(m.Time) {
			return fault.Fault{Key: "time", Text: "outside the years 1970 to 2262"}
		}
	}
	return s.update(ctx, runName, func(tx *sql.Tx, runID int64) error {
		for _, m := range marks {
			if err := events.Add(ctx, tx, runID, m); err != nil {
				return err
			}
		}
		return nil
	})
}

// Marks returns the marks of a run that were not withdrawn, in the order of time: not before
// since, and before until; zero = from the beginning, to the end. With an error for which
// Damaged is true it also returns the marks that can be read.
func (s *Store) Marks(ctx context.Context, runName string, since, until time.Time) ([]Mark, error) {
	all, err := s.AllMarks(ctx, runName, since, until)
	return slices.DeleteFunc(all, func(m Mark) bool { return !m.Withdrawn.IsZero() }), err
}

// AllMarks is Marks including the withdrawn ones.
func (s *Store) AllMarks(ctx context.Context, runName string, since, until time.Time) (marks []Mark, err error) {
	first, last := Selection{Since: since, Until: until}.Limits()
	err = s.view(ctx, runName, func(tx *sql.Tx, runID int64) error {
		marks, err = events.Marks(ctx, tx, runID, first, last)
		return err
	})
	return marks, err
}

// NewestMarks returns the newest marks of a run that were not withdrawn, at most so many, the newest
// first: those of a kind where kind is not "", and none of the kind without. With an error for
// which Damaged is true it also returns the marks that were read.
func (s *Store) NewestMarks(ctx context.Context, runName, kind, without string, most int) (marks []Mark, err error) {
	err = s.view(ctx, runName, func(tx *sql.Tx, runID int64) error {
		marks, err = events.Newest(ctx, tx, runID, kind, without, most)
		return err
	})
	return marks, err
}

// WithdrawMark withdraws the newest mark of a kind and text; if at is not zero, the newest
// one of that moment. AllMarks still returns it. found is false if there is no such mark
// or it was withdrawn before.
func (s *Store) WithdrawMark(ctx context.Context, runName, kind, text string, at, now time.Time) (found bool, err error) {
	moment := int64(0)
	if !at.IsZero() {
		moment = nanoseconds(at)
	}
	err = s.db.Update(ctx, func(tx *sql.Tx) error {
		runID, err := tables.FindRun(ctx, tx, runName)
		if err != nil || runID == 0 {
			return err
		}
		if found, err = events.Withdraw(ctx, tx, runID, kind, text, moment, now.UnixNano()); err != nil || !found {
			return err
		}
		if err := delivery.Changed(ctx, tx, runID, 1, 0, now); err != nil {
			return err
		}
		_, err = dropStates(ctx, tx, runID)
		return err
	})
	return found, err
}

// SetState stores the state of an analysis of a run under a name and replaces the earlier
// one. The version identifies the format of the bytes.
func (s *Store) SetState(ctx context.Context, runName, name string, version int, data []byte) error {
	return s.update(ctx, runName, func(tx *sql.Tx, runID int64) error {
		return events.SetState(ctx, tx, runID, name, version, data)
	})
}

// State returns the state stored under a name; ok is false if there is none.
func (s *Store) State(ctx context.Context, runName, name string) (version int, data []byte, ok bool, err error) {
	err = s.view(ctx, runName, func(tx *sql.Tx, runID int64) error {
		version, data, ok, err = events.State(ctx, tx, runID, name)
		return err
	})
	return version, data, ok, err
}

// Start is a start of the machine that samples were taken on.
type Start = events.Start

// Starts returns the starts of the machine in their order.
func (s *Store) Starts(ctx context.Context) (starts []Start, err error) {
	err = s.db.View(ctx, func(tx *sql.Tx) error {
		starts, err = events.Starts(ctx, tx)
		return err
	})
	return starts, err
}

// update calls change within a transaction, with the number of a run. It creates the run if
// it does not exist.
func (s *Store) update(ctx context.Context, runName string, change func(tx *sql.Tx, runID int64) error) error {
	return s.db.Update(ctx, func(tx *sql.Tx) error {
		runID, err := tables.EnsureRun(ctx, tx, runName)
		if err != nil {
			return err
		}
		return change(tx, runID)
	})
}

// view calls look within a reading transaction, with the number of a run. It does nothing if
// the run does not exist.
func (s *Store) view(ctx context.Context, runName string, look func(tx *sql.Tx, runID int64) error) error {
	return s.db.View(ctx, func(tx *sql.Tx) error {
		runID, err := tables.FindRun(ctx, tx, runName)
		if err != nil || runID == 0 {
			return err
		}
		return look(tx, runID)
	})
}
