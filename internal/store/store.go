// Package store keeps readings in a file for years.
//
// A store holds the readings of any number of runs, each with its number, unit
// and offset from UTC as they were written, so that what is taken out is what
// was put in. One program writes at a time (a second one waits for the first
// one's transaction), any number read meanwhile, and what Append has confirmed
// outlives a loss of power. A program that reads probes for years uses a Writer,
// of which a store has one.
//
// The package does not check readings against a run. How they lie in the file is
// said in packages tables, chunk and column.
package store

import (
	"time"

	"ohmkeep/internal/store/internal/sqlitefile"
	"ohmkeep/internal/store/internal/tables"
)

// Store is an open store. It may be used by several goroutines at once.
type Store struct{ db *sqlitefile.DB }

// Open opens the store at path for reading and writing, and makes it where there
// is none. A file that is something else is refused and left as it is; so is a
// store of another layout.
func Open(path string) (*Store, error) { return open(path, sqlitefile.Patience) }

func open(path string, patience time.Duration) (*Store, error) {
	db, err := sqlitefile.Open(path, tables.Schema, patience)
	if err != nil {
		return nil, err
	}
	return &Store{db}, nil
}

// OpenReadOnly opens the store at path for reading. It must exist.
func OpenReadOnly(path string) (*Store, error) {
	db, err := sqlitefile.OpenReadOnly(path, tables.Schema)
	if err != nil {
		return nil, err
	}
	return &Store{db}, nil
}

// Rest lets go of the memory that reading has taken and that the next reading may need
// again.
func (s *Store) Rest() { s.db.Rest() }

// Close closes the store.
func (s *Store) Close() error { return s.db.Close() }
