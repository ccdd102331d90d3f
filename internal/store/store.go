// Package store keeps readings in a file for years.
//
// A store holds the readings of any number of runs, each with its number, unit
// and offset from UTC as they were written, so that what is taken out is what
// was put in. It is an SQLite database: one program writes at a time (a second
// one waits for the first one's transaction), any number read meanwhile, and
// what Append has confirmed outlives a loss of power.
//
// The package does not check readings against a run and does not thin them out.
package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"time"

	_ "modernc.org/sqlite" // the driver named "sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"ohmkeep/internal/fault"
)

// patience is how long a writer waits for another one's transaction.
const patience = 5 * time.Second

// Store is an open store. It may be used by several goroutines at once.
type Store struct {
	path  string // as the user named it
	read  *sql.DB
	write *sql.DB // one connection; nil where the store was opened for reading only
}

// Open opens the store at path for reading and writing, and makes it where there
// is none. A file that is something else is refused and left as it is; so is a
// store that a newer version of the program has made.
func Open(path string) (*Store, error) { return open(path, patience) }

func open(path string, patience time.Duration) (*Store, error) {
	size, err := check(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		if _, err := os.Stat(filepath.Dir(path)); err != nil {
			return nil, fault.Fault{File: path, Text: "its directory does not exist", Hint: "make it first"}
		}
	case err != nil:
		return nil, explain(path, err)
	case size > 0:
		// Looked at first through a connection that cannot change it.
		found, err := inspect(dsn(path, readOnly))
		if err == nil && !found.fresh() {
			err = found.fits()
		}
		if err != nil {
			return nil, explain(path, err)
		}
	}
	s := &Store{path: path}
	if s.write, err = sql.Open("sqlite", dsn(path, writer(patience))); err != nil {
		return nil, explain(path, err)
	}
	s.write.SetMaxOpenConns(1)
	if err := persist(patience, func() error { return migrate(context.Background(), s.write) }); err != nil {
		s.write.Close()
		return nil, explain(path, err)
	}
	if s.read, err = sql.Open("sqlite", dsn(path, readOnly)); err != nil {
		s.write.Close()
		return nil, explain(path, err)
	}
	return s, nil
}

// OpenReadOnly opens the store at path for reading. It must exist.
func OpenReadOnly(path string) (*Store, error) {
	switch _, err := check(path); {
	case errors.Is(err, fs.ErrNotExist):
		return nil, fault.Fault{File: path, Text: "there is no such store", Hint: "import readings to make one"}
	case err != nil:
		return nil, explain(path, err)
	}
	how := readOnly
	found, err := inspect(dsn(path, how))
	if noRights(err) && !pending(path) {
		// Nobody can write here, so there is no place for the index of the log
		// that readers share; with nothing in the log they need none.
		how = unchanging
		found, err = inspect(dsn(path, how))
	}
	switch {
	case err != nil:
	case found.fresh():
		err = fault.Fault{Text: "the store is empty", Hint: "import readings first"}
	case found.fits() != nil:
		err = found.fits()
	case found.version < len(migrations):
		err = fault.Fault{Text: "the store is of an older version", Hint: "import into it once to bring it up to date"}
	}
	if err != nil {
		return nil, explain(path, err)
	}
	s := &Store{path: path}
	if s.read, err = sql.Open("sqlite", dsn(path, how)); err != nil {
		return nil, explain(path, err)
	}
	return s, nil
}

// Close closes the store.
func (s *Store) Close() error {
	err := s.read.Close()
	if s.write != nil {
		err = errors.Join(err, s.write.Close())
	}
	return explain(s.path, err)
}

// magic begins every SQLite database (SQLite, "Database File Format"). SQLite
// itself takes a file of a few bytes for an empty database and writes over it.
const magic = "SQLite format 3\x00"

// check tells whether a file can be a store, and its size in bytes.
func check(path string) (size int64, err error) {
	if path == "" {
		return 0, fault.Fault{Text: "the store has no name", Hint: "name its file"}
	}
	info, err := os.Stat(path)
	if err != nil {
		return 0, unnamed(err)
	}
	if !info.Mode().IsRegular() {
		return 0, fault.Fault{Text: "this is not a file", Hint: "name the store's file"}
	}
	file, err := os.Open(path)
	if err != nil {
		return 0, unnamed(err)
	}
	defer file.Close()
	head := make([]byte, len(magic))
	if _, err := io.ReadFull(file, head); info.Size() > 0 && (err != nil || string(head) != magic) {
		return 0, explanations[sqlite3.SQLITE_NOTADB]
	}
	return info.Size(), nil
}

// unnamed takes the path out of an error to which explain will add it.
func unnamed(err error) error {
	if named, ok := errors.AsType[*fs.PathError](err); ok {
		return named.Err
	}
	return err
}

// pending tells whether a log beside the store holds what the store lacks.
func pending(path string) bool {
	info, err := os.Stat(path + "-wal")
	return err == nil && info.Size() > 0
}

// Ways to open a database. Settings are given with the file's name, because they
// hold for one connection and the pool opens several.
var (
	readOnly   = url.Values{"mode": {"ro"}, "_pragma": {"busy_timeout(5000)"}}
	unchanging = url.Values{"mode": {"ro"}, "immutable": {"1"}}
)

func writer(patience time.Duration) url.Values {
	return url.Values{
		"_txlock": {"immediate"}, // so that a second writer waits at the start and not half-way
		"_pragma": {
			fmt.Sprintf("busy_timeout(%d)", patience.Milliseconds()),
			"journal_mode(WAL)",
			"synchronous(FULL)", // with less, a loss of power takes the last commits along
			"foreign_keys(1)",
		},
	}
}

// dsn names a database to the driver. The path is made absolute, for "//" at its
// front would begin the name of a host, and is escaped: a ? or # in it would end
// it, a % begin an escape.
func dsn(path string, how url.Values) string {
	if whole, err := filepath.Abs(path); err == nil {
		path = whole
	}
	return "file:" + (&url.URL{Path: filepath.ToSlash(path)}).EscapedPath() + "?" + how.Encode()
}
