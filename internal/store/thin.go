package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"ohmkeep/internal/store/internal/retention"
)

// Size is the size of a store in bytes.
type Size struct {
	File int64 // the database's file
	Used int64 // part of File in use; the rest is free for new readings
	Log  int64 // the file of commits that are not in the database yet
}

// Size returns the size of the store.
func (s *Store) Size(ctx context.Context) (Size, error) {
	file, used, log, err := s.db.Size(ctx)
	return Size{file, used, log}, err
}

// Thinned is the number of readings that Thin deleted, and their period.
type Thinned struct {
	Readings    int
	First, Last time.Time // between which they were taken
}

// Thin deletes the readings of a run's probes that are older than a moment, and keeps the
// exact minimum, mean and maximum of each hour. It does not delete readings of a known
// step, imported readings or typed ones: verdicts are based on them. It commits in small
// parts, the oldest first, and adds a mark with the number of deleted readings. The file
// does not shrink; its free pages are used again.
func (s *Store) Thin(ctx context.Context, runName string, before, now time.Time) (t Thinned, err error) {
	const step = 64 // chunks a commit
	first, last := int64(0), int64(0)
	for {
		var part retention.Deleted
		err = s.update(ctx, runName, func(tx *sql.Tx, runID int64) error {
			part, err = retention.Delete(ctx, tx, runID, nanoseconds(before), step)
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

// WasThinned reports whether Thin has deleted readings of a run.
func (s *Store) WasThinned(ctx context.Context, runName string) (thinned bool, err error) {
	err = s.view(ctx, runName, func(tx *sql.Tx, runID int64) error {
		thinned, err = retention.Any(ctx, tx, runID)
		return err
	})
	return thinned, err
}
