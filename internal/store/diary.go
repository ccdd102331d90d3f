package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"time"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/store/internal/decimal"
	"ohmkeep/internal/store/internal/events"
	"ohmkeep/internal/store/internal/retention"
	"ohmkeep/internal/store/internal/tables"
)

// Mark is something that happened to a run: a note of a person, a gap, a restart.
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
	MarkDamaged = events.Damaged
	MarkTaken   = events.Taken
	MarkPutBack = events.PutBack
	MarkThinned = events.Thinned
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

// Marks returns the marks of a run that hold, in the order of time: not before since, and
// before until; zero = from the beginning, to the end. Beside an error for which
// Damaged is true those come that can be read.
func (s *Store) Marks(ctx context.Context, runName string, since, until time.Time) ([]Mark, error) {
	all, err := s.AllMarks(ctx, runName, since, until)
	return slices.DeleteFunc(all, func(m Mark) bool { return !m.Withdrawn.IsZero() }), err
}

// AllMarks is Marks with those that were withdrawn.
func (s *Store) AllMarks(ctx context.Context, runName string, since, until time.Time) (marks []Mark, err error) {
	first, last := Selection{Since: since, Until: until}.limits()
	err = s.view(ctx, runName, func(tx *sql.Tx, runID int64) error {
		marks, err = events.Marks(ctx, tx, runID, first, last)
		return err
	})
	return marks, err
}

// WithdrawMark notes that the newest mark of a kind and with a text does not hold; with a
// time that is not zero, the one of that moment. It stays among AllMarks. found is false
// where no such mark holds.
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
		if found, err = events.Withdraw(ctx, tx, runID, kind, text, moment, now.UnixNano()); err == nil && found {
			_, err = begin(ctx, tx, runID)
		}
		return err
	})
	return found, err
}

// SetState keeps what an analysis of a run needs next time under a name, in place
// of what was there. The version says how the bytes are to be read.
func (s *Store) SetState(ctx context.Context, runName, name string, version int, data []byte) error {
	return s.update(ctx, runName, func(tx *sql.Tx, runID int64) error {
		return events.SetState(ctx, tx, runID, name, version, data)
	})
}

// State returns what is kept under a name; ok is false where there is nothing.
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

// Correct says that counts of the selected channels stand for something else than
// was said when they were taken, because a shunt turned out to be another one.
// Only channels whose Scale was given as was are touched; their counts are left
// as they are, and hours whose readings are gone are corrected too. "" as
// the scale goes back to what was said first. It returns how many series there were.
func (s *Store) Correct(ctx context.Context, sel Selection, was, scale string) (corrected int, err error) {
	if scale != "" {
		if _, err := decimal.ParseScale(scale); err != nil {
			return 0, err
		}
	}
	err = s.db.Update(ctx, func(tx *sql.Tx) error {
		series, err := sel.series(ctx, tx)
		if err != nil {
			return err
		}
		corrected = 0
		for _, of := range series {
			if of.Scale == "" || of.Scale != was {
				continue
			}
			if err := tables.Correct(ctx, tx, of.ID, scale); err != nil {
				return err
			}
			corrected++
		}
		return nil
	})
	return corrected, err
}

// ScaleFits reports whether a text can be a channel's scale.
func ScaleFits(text string) bool {
	_, err := decimal.ParseScale(text)
	return err == nil
}

// CorrectAll is Correct for selected channels of any scale. It returns those
// that were changed, each with the scale that it had.
func (s *Store) CorrectAll(ctx context.Context, sel Selection, scale string) (corrected []Channel, err error) {
	if _, err := decimal.ParseScale(scale); err != nil {
		return nil, err
	}
	err = s.db.Update(ctx, func(tx *sql.Tx) error {
		series, err := sel.series(ctx, tx)
		if err != nil {
			return err
		}
		corrected = nil
		for _, of := range series {
			was := channel(sel.Run, of)
			if of.Scale == "" || was.Scale == scale {
				continue
			}
			to := scale
			if scale == of.Scale {
				to = "" // as it was said first
			}
			if err := tables.Correct(ctx, tx, of.ID, to); err != nil {
				return err
			}
			corrected = append(corrected, *was)
		}
		return nil
	})
	return corrected, err
}

// update changes something about a run, which is made where there is none.
func (s *Store) update(ctx context.Context, runName string, change func(tx *sql.Tx, runID int64) error) error {
	return s.db.Update(ctx, func(tx *sql.Tx) error {
		runID, err := tables.EnsureRun(ctx, tx, runName)
		if err != nil {
			return err
		}
		return change(tx, runID)
	})
}

// view looks at something of a run, where there is one.
func (s *Store) view(ctx context.Context, runName string, look func(tx *sql.Tx, runID int64) error) error {
	return s.db.View(ctx, func(tx *sql.Tx) error {
		runID, err := tables.FindRun(ctx, tx, runName)
		if err != nil || runID == 0 {
			return err
		}
		return look(tx, runID)
	})
}

// Size is how much room a store takes, in bytes.
type Size struct {
	File int64 // the database's file
	Used int64 // of that; the rest is free for new readings
	Log  int64 // the file of commits that are not in the database yet
}

// Size returns how much room the store takes.
func (s *Store) Size(ctx context.Context) (Size, error) {
	file, used, log, err := s.db.Size(ctx)
	return Size{file, used, log}, err
}

// Thinned is what was let go.
type Thinned struct {
	Readings    int
	First, Last time.Time // between which they were taken
}

// Thin lets the readings that probes of a run gave before a moment go, and keeps exact
// minimum, mean and maximum of each of their hours. Evidence stays: what was taken in a
// known step, what was imported, and what was typed. It commits in small parts, the
// oldest first, and says in a mark what went. The file does not get smaller, but what is
// free in it is used again.
func (s *Store) Thin(ctx context.Context, runName string, before, now time.Time) (t Thinned, err error) {
	const step = 64 // chunks a commit
	first, last := int64(0), int64(0)
	for {
		var part retention.Gone
		err = s.update(ctx, runName, func(tx *sql.Tx, runID int64) error {
			part, err = retention.LetGo(ctx, tx, runID, nanoseconds(before), step)
			return err
		})
		if err != nil {
			break
		}
		if part.Readings > 0 && (t.Readings == 0 || part.First < first) {
			first = part.First
		}
		last = max(last, part.Last)
		t.Readings += part.Readings
		if part.Chunks < step {
			break
		}
	}
	if t.Readings == 0 {
		return t, err
	}
	t.First, t.Last = time.Unix(0, first).UTC(), time.Unix(0, last).UTC()
	marking := s.Mark(ctx, runName, Mark{Time: now, Kind: MarkThinned, Text: fmt.Sprintf(
		"%d readings of probes outside known steps, taken from %s to %s; minimum, mean and maximum of each hour are kept, and what drift made of them",
		t.Readings, t.First.Format(time.DateOnly), t.Last.Format(time.DateOnly))})
	return t, errors.Join(err, marking)
}

// WasThinned reports whether readings of a run were let go.
func (s *Store) WasThinned(ctx context.Context, runName string) (thinned bool, err error) {
	err = s.view(ctx, runName, func(tx *sql.Tx, runID int64) error {
		thinned, err = retention.Any(ctx, tx, runID)
		return err
	})
	return thinned, err
}
