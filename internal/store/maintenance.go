package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/store/internal/recovery"
	"ohmkeep/internal/store/internal/sqlitefile"
	"ohmkeep/internal/store/internal/tables"
)

// Found is what a check of a store has found.
type Found struct {
	Chunks, Commits int // that are whole, where nothing is wrong
	Count
	Faults []string
}

// Count is how many readings a store gives back.
type Count struct {
	Readings int64 // that are whole and have their place
	Lost     int64 // that are damaged or gone, as far as it is known
	Orphans  int64 // of which the place is lost: they stay in the damaged file
	Commits  int   // of the newest that are gone, of whose readings nothing is known
}

func countOf(c recovery.Count) Count { return Count{c.Readings, c.Lost, c.Orphans, c.Commits} }

// Check reads the whole store and reports what is wrong with it.
func (s *Store) Check(ctx context.Context) (Found, error) {
	var f recovery.Found
	err := s.db.View(ctx, func(tx *sql.Tx) (err error) {
		f, err = recovery.Check(ctx, tx)
		return err
	})
	found := Found{f.Chunks, f.Commits, countOf(f.Count), f.Faults}
	if err == nil && (found.Lost > 0 || found.Count.Commits > 0) {
		found.Faults = append([]string{s.lost(f.Count)}, found.Faults...)
	}
	return found, err
}

// lost says what is lost.
func (s *Store) lost(c recovery.Count) string {
	text := fmt.Sprintf("the store is damaged: %d readings are lost", c.Lost)
	if c.First <= c.Last {
		text = fmt.Sprintf("the store is damaged: %d readings from %s to %s are lost", c.Lost,
			time.Unix(0, c.First).UTC().Format(time.RFC3339), time.Unix(0, c.Last).UTC().Format(time.RFC3339))
	}
	if c.Commits > 0 {
		text += fmt.Sprintf(", and those of %d commits", c.Commits)
	}
	return text
}

// CheckFile returns what Rescue would keep of a store that is damaged so that it cannot
// be opened. No program may be writing to it.
func CheckFile(ctx context.Context, path string) (Count, error) {
	c, err := recovery.CountFile(ctx, path)
	return countOf(c), err
}

// Backup writes a copy of the store as it is at this moment to another file,
// while others may go on writing. A copy that is there already is replaced in one
// step.
func (s *Store) Backup(ctx context.Context, to string) error { return s.db.Copy(ctx, to) }

// Compact lays the store out afresh and gives the room that is free in it back to
// the disk. It refuses where another program keeps the store.
func (s *Store) Compact(ctx context.Context) error {
	if s.db.Write == nil {
		return fault.Fault{File: s.db.Path, Text: "the store was opened for reading only"}
	}
	claim, err := s.db.Claim("ohmkeep store compact", "")
	if err != nil {
		return err
	}
	err = s.db.Update(ctx, func(tx *sql.Tx) error { return tables.Fold(ctx, tx, nil) })
	if err == nil {
		err = s.db.Compact(ctx, tables.Schema)
	}
	return errors.Join(err, claim.Release())
}

// Damaged reports whether an error means that the file of a store is damaged, so
// that trying again does not help and Rescue may.
func Damaged(err error) bool { return tables.Broken(err) }

// Rescued is what a rescue did.
type Rescued struct {
	Aside string // the name under which the damaged file is kept
	Count        // of what is in the new one, and what is not
}

// Rescue puts a damaged store aside and a new one in its place that holds all that can
// be read and is whole, if that is nothing. The store must be closed.
func Rescue(ctx context.Context, path string) (Rescued, error) {
	r, err := recovery.Replace(ctx, path)
	return Rescued{r.Aside, countOf(r.Count)}, err
}

// ErrDisplaced is the error of a store whose file, log or directory is not where it was
// opened: removed, renamed or replaced while it was written to.
var ErrDisplaced = sqlitefile.ErrDisplaced

// Displaced returns an error, which is ErrDisplaced, where the store is not where it was
// opened. It costs a few calls of the system.
func (s *Store) Displaced() error { return s.db.Displaced() }

// MoveToNewFile writes what a displaced store holds to a new file, puts that in its place and
// closes the store. Where another file stands there now, that one is left alone, and the
// new one gets a name of its own, which is returned; "" = it is in place.
func (s *Store) MoveToNewFile(ctx context.Context) (kept string, err error) {
	return s.db.MoveToNewFile(ctx)
}
