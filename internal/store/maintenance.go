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

// Found is the result of a check of a store.
type Found struct {
	Chunks, Commits int // undamaged ones; set only if there are no faults
	Count
	Faults []string
}

// Count is how many readings of a store can be read and how many are lost.
type Count struct {
	Readings int64 // undamaged, with their place of measurement
	Lost     int64 // damaged or missing, as far as is known
	Orphans  int64 // whose place of measurement is lost: they stay in the damaged file
	Commits  int   // missing newest commits, whose number of readings is unknown
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

// lost returns in words how many readings are lost, and of which period.
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

// CheckFile returns how many readings Rescue would keep of a store that is too damaged to
// be opened. No program may be writing to it.
func CheckFile(ctx context.Context, path string) (Count, error) {
	c, err := recovery.CountFile(ctx, path)
	return countOf(c), err
}

// Backup writes a copy of the store's present state to another file, while other programs
// may write to the store. An existing copy is replaced in one step.
func (s *Store) Backup(ctx context.Context, to string) error { return s.db.Copy(ctx, to) }

// Compact rewrites the store without its free pages, so that the file shrinks. It returns
// an error if another program has claimed the store.
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

// Damaged reports whether an error means that the file of a store is damaged. Trying
// again does not help then; Rescue may.
func Damaged(err error) bool { return tables.Broken(err) }

// Rescued is the result of a rescue.
type Rescued struct {
	Aside string // the name under which the damaged file is kept
	Count        // readings in the new file, and those that are not
}

// Rescue renames a damaged store and writes in its place a new one with all undamaged
// readings, which may be none. The store must be closed.
func Rescue(ctx context.Context, path string) (Rescued, error) {
	r, err := recovery.Replace(ctx, path)
	return Rescued{r.Aside, countOf(r.Count)}, err
}

// ErrDisplaced is the error of a store whose file, log or directory is not where it was
// opened: removed, renamed or replaced while it was written to.
var ErrDisplaced = sqlitefile.ErrDisplaced

// Displaced returns ErrDisplaced if the store's file was removed, renamed or replaced since
// it was opened. It costs a few system calls.
func (s *Store) Displaced() error { return s.db.Displaced() }

// MoveToNewFile writes the content of a displaced store to a new file at the store's path
// and closes the store. If another file is at that path now, the new file gets another name,
// which is returned; "" = it is at the store's path.
func (s *Store) MoveToNewFile(ctx context.Context) (kept string, err error) {
	return s.db.MoveToNewFile(ctx)
}
