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
//
// # Decisions
//
//   - A store keeps counts and the form of their text, never floats: a number comes back
//     digit by digit, and a corrected shunt can be applied to counts of before. It is
//     applied when somebody asks for it, not when the run file changes: a file may name
//     another shunt because the sensor was replaced.
//   - Pages are 1 KiB, because a commit writes two or three of them. The write-ahead log
//     is filled to its full length at the start and never cut, and commits flush with
//     fdatasync: 6.0 kB and one flush a commit of 16 readings on ext4 (test CommitCost),
//     instead of 18.5 kB and two.
//   - A commit is one row of the tail; 256 of them, or 65,536 readings, are folded into
//     chunks. A writer holds no readings in memory, so a restart has nothing to load.
//   - Chunks say lowest, highest and sum of their counts: a sum over a year opens only
//     chunks with an edge in them.
//   - The checksum of a chunk covers what names its place and its times, and numbers of
//     series are never used again: damage can lose readings, but never misplace them.
//     Now and then a chunk says its series in full, so that names survive the loss of
//     every table that holds them.
//   - A reading's source is no part of its identity: importing what a probe has sent
//     counts as duplicates. So does an export of corrected counts.
//   - A store without a log is read over a connection that could write (and may not,
//     query_only): only such a one removes SQLite's log and index again.
package store

import (
	"errors"
	"time"

	"ohmkeep/internal/store/internal/recovery"
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
		return nil, beginningLost(path, err)
	}
	return &Store{db}, nil
}

// beginningLost makes the error of a file that is not a store one of damage where the
// file holds what only a store does, and lacks its beginning alone.
func beginningLost(path string, err error) error {
	if errors.Is(err, sqlitefile.ErrNotStore) && recovery.Recognizes(path) {
		return sqlitefile.Explain(path, sqlitefile.ErrBeginning)
	}
	return err
}

// OpenReadOnly opens the store at path for reading. It must exist.
func OpenReadOnly(path string) (*Store, error) {
	db, err := sqlitefile.OpenReadOnly(path, tables.Schema)
	if err != nil {
		return nil, beginningLost(path, err)
	}
	return &Store{db}, nil
}

// ReleaseMemory frees the pages that connections for reading have cached. The next read
// loads them again.
func (s *Store) ReleaseMemory() { s.db.ReleaseCache() }

// Close closes the store.
func (s *Store) Close() error { return s.db.Close() }
