package store

import (
	"context"
	"database/sql"
	"errors"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/store/internal/recovery"
	"ohmkeep/internal/store/internal/tables"
)

// Found is what a check of a store has found.
type Found struct {
	Chunks, Commits int   // that are whole
	Readings        int64 // in those
	Lost            int64 // readings that are known to be lost
	Faults          []string
}

// Check reads the whole store and tells what is wrong with it.
func (s *Store) Check(ctx context.Context) (Found, error) {
	var f recovery.Found
	err := s.db.View(ctx, func(tx *sql.Tx) (err error) {
		f, err = recovery.Check(ctx, tx)
		return err
	})
	found := Found{Chunks: f.Chunks, Commits: f.Commits, Readings: f.Readings, Lost: f.Damage.Readings, Faults: f.Faults}
	if f.Damage.Any() {
		found.Faults = append([]string{s.damaged(f.Damage).Text}, found.Faults...)
	}
	return found, err
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

// Damaged tells whether an error means that the file of a store is damaged, so
// that trying again does not help and Rescue may.
func Damaged(err error) bool { return tables.Broken(err) }

// Rescue puts a damaged store aside and a new one in its place that holds all
// that can be read and is whole, if that is nothing. The store must be closed. It
// gives the name under which the damaged file is kept.
func Rescue(ctx context.Context, path string) (aside string, err error) {
	return recovery.Replace(ctx, path)
}
