// Package store keeps readings in a file for years.
//
// A store holds the readings of any number of runs. It returns the number, unit and
// offset from UTC of each reading as they were written. One program writes at a time; a
// second one waits for the first one's transaction. Any number of programs read meanwhile.
// Readings that Append has confirmed survive a loss of power. A program that reads probes
// for years uses the store's Writer.
//
// The package does not check readings against a run. Packages tables, chunk and column
// describe the file's layout.
//
// # Decisions
//
//   - A store keeps counts and the form of their text, never floats: a number comes back
//     digit by digit, and a corrected shunt can be applied to earlier counts. It is
//     applied by a command, not when the run file changes: a file may name another shunt
//     because the sensor was replaced.
//   - Pages are 1 KiB, because a commit writes two or three of them. The write-ahead log
//     is filled to its full length at the start and never truncated, and commits flush with
//     fdatasync: 6.0 kB and one flush a commit of 16 readings on ext4 (test CommitCost),
//     instead of 18.5 kB and two.
//   - A commit is one row of the tail; 256 of them, or 65,536 readings, are folded into
//     chunks. A writer holds no readings in memory, so a restart has nothing to load.
//   - Chunks state lowest, highest and sum of their counts: a sum over a year decodes only
//     the chunks at the limits of the period.
//   - The checksum of a chunk covers what names its place and its times, and numbers of
//     series are never used again: damage can lose readings, but never misplace them.
//     Some chunks state the full name of their series, so that names survive the loss of
//     every table that holds them.
//   - A reading's source is no part of its identity: importing what a probe has sent
//     counts as duplicates. So does an export of corrected counts.
//   - A store without a log is read over a connection with permission to write but with
//     query_only set: only such a connection removes SQLite's log and index when it is closed.
package store

import (
	"errors"
	"time"

	"ohmkeep/internal/store/internal/recovery"
	"ohmkeep/internal/store/internal/sqlitefile"
	"ohmkeep/internal/store/internal/tables"
)

// Store is an opened store. It may be used by several goroutines at once.
type Store struct{ db *sqlitefile.DB }

// Open opens the store at path for reading and writing, and creates it if it does not
// exist. It refuses, and does not change, a file that is not a store and a store of another
// layout.
func Open(path string) (*Store, error) { return open(path, sqlitefile.BusyTimeout) }

func open(path string, busyTimeout time.Duration) (*Store, error) {
	db, err := sqlitefile.Open(path, tables.Schema, busyTimeout)
	if err != nil {
		return nil, checkBeginning(path, err)
	}
	return &Store{db}, nil
}

// checkBeginning turns the error "not a store" into one of damage if the file holds rows that
// only a store has, so that only its beginning is lost.
func checkBeginning(path string, err error) error {
	if errors.Is(err, sqlitefile.ErrNotStore) && recovery.Recognizes(path) {
		return sqlitefile.Explain(path, sqlitefile.ErrBeginning)
	}
	return err
}

// OpenReadOnly opens the store at path for reading. It must exist.
func OpenReadOnly(path string) (*Store, error) {
	db, err := sqlitefile.OpenReadOnly(path, tables.Schema)
	if err != nil {
		return nil, checkBeginning(path, err)
	}
	return &Store{db}, nil
}

// ReleaseMemory frees the pages that connections for reading have cached. The next read
// loads them again.
func (s *Store) ReleaseMemory() { s.db.ReleaseCache() }

// Close closes the store.
func (s *Store) Close() error { return s.db.Close() }
