package store

import (
	"context"
	"database/sql"
	"fmt"
	"math"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/store/internal/delivery"
	"ohmkeep/internal/store/internal/events"
	"ohmkeep/internal/store/internal/retention"
	"ohmkeep/internal/store/internal/tables"
)

// Withdraw marks readings of a run as wrong. They stay in the store with the quality
// Withdrawn, and importing them again does not restore them; functions that return measured
// values leave them out. A mark states which they were and why. It returns how many samples
// were changed.
//
// The states of analyses are deleted, so that they are computed again from the readings. If
// old readings were deleted by Thin, the states are kept, because their nights would be
// lost: then stale is true.
func (s *Store) Withdraw(ctx context.Context, runName string, readings []reading.Reading, why string, now time.Time) (changed int, stale bool, err error) {
	return s.requalify(ctx, runName, readings, true, why, now)
}

// Restore reverses Withdraw.
func (s *Store) Restore(ctx context.Context, runName string, readings []reading.Reading, why string, now time.Time) (changed int, stale bool, err error) {
	return s.requalify(ctx, runName, readings, false, why, now)
}

// Withdrawn returns the selected readings that were withdrawn.
func (s *Store) Withdrawn(ctx context.Context, sel Selection) ([]reading.Reading, error) {
	var all []reading.Reading
	for x, err := range s.Samples(ctx, sel) {
		if err != nil {
			return all, err
		}
		if x.Quality&reading.Withdrawn != 0 {
			all = append(all, x.Reading)
		}
	}
	return all, nil
}

// place is what a reading and a series have in common.
type place struct{ step, from, to, unit, meter string }

func (s *Store) requalify(ctx context.Context, runName string, readings []reading.Reading, out bool, why string, now time.Time) (changed int, stale bool, err error) {
	err = s.update(ctx, runName, func(tx *sql.Tx, runID int64) error {
		changed, stale, err = requalifyIn(ctx, tx, runID, readings, out, why, now)
		return err
	})
	return changed, stale, err
}

// requalifyIn withdraws readings of a run within a transaction, or restores them.
func requalifyIn(ctx context.Context, tx *sql.Tx, runID int64, readings []reading.Reading, out bool, why string, now time.Time) (changed int, stale bool, err error) {
	wanted := map[place]map[tables.Written]bool{}
	first, last := int64(math.MaxInt64), int64(math.MinInt64)
	for _, x := range readings {
		p := place{x.Step, x.From, x.To, x.Unit, x.Meter}
		if wanted[p] == nil {
			wanted[p] = map[tables.Written]bool{}
		}
		at := nanoseconds(x.Time)
		wanted[p][tables.Written{At: at, Text: x.Text}] = true
		first, last = min(first, at), max(last, at)
	}
	kind, bit := events.Taken, reading.Withdrawn
	if !out {
		kind = events.PutBack
	}
	if err := tables.Fold(ctx, tx, nil); err != nil { // what is in the tail too
		return 0, false, err
	}
	all, err := tables.All(ctx, tx, runID)
	if err != nil {
		return 0, false, err
	}
	for _, of := range all {
		its := wanted[place{of.Step, of.From, of.To, of.Unit, of.Meter}]
		n, err := tables.Requalify(ctx, tx, of, first, last, func(w tables.Written) bool { return its[w] }, bit, out)
		if err != nil {
			return 0, false, err
		}
		changed += n
	}
	if changed == 0 {
		return 0, false, nil
	}
	if err := delivery.Changed(ctx, tx, runID, first, last, now); err != nil {
		return 0, false, err
	}
	for _, x := range readings {
		text := fmt.Sprintf("%s %s of %s", x.Text, x.Unit, x.Time.Format(time.RFC3339Nano))
		if x.Step != "" {
			text += " in step " + x.Step
		}
		if why != "" {
			text += ": " + why
		}
		subject := x.From
		if x.To != "" {
			subject += " " + x.To
		}
		if err := events.Add(ctx, tx, runID, Mark{Time: now, Kind: kind, Subject: subject, Text: text}); err != nil {
			return 0, false, err
		}
	}
	stale, err = dropStates(ctx, tx, runID)
	return changed, stale, err
}

// dropStates deletes the states of analyses of a run. If old readings were deleted by Thin, it
// does nothing and reports that the states are stale.
func dropStates(ctx context.Context, tx *sql.Tx, runID int64) (stale bool, err error) {
	stale, err = retention.Any(ctx, tx, runID)
	if err != nil || stale {
		return stale, err
	}
	return false, events.DropStates(ctx, tx, runID)
}
