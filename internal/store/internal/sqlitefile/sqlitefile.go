// Package sqlitefile opens the file of a store: an SQLite database with one writer
// and any number of readers.
//
// It checks that a file is a store, sets up each connection, turns SQLite's errors into plain
// words, and keeps the log at a fixed length. It does not know the content of the tables.
package sqlitefile

import (
	"context"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"sync"
	"time"

	"modernc.org/sqlite" // also the driver named "sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"ohmkeep/internal/fault"
)

// BusyTimeout is how long a writer waits for another one's transaction.
const BusyTimeout = 5 * time.Second

// DB is an open database. It may be used by several goroutines at once.
type DB struct {
	Path  string // as the user named it
	Read  *sql.DB
	Write *sql.DB // one connection; nil where it was opened for reading only

	mu     sync.Mutex
	place  place      // nothing is known of one that was opened for reading only
	claims []*os.File // descriptors of the database that were locked, to be closed after SQLite's
}

// Open opens the database at path for reading and writing, and creates it if it does not
// exist. It refuses, and does not change, a file that is not a store and a store of another
// layout.
func Open(path string, schema Schema, busyTimeout time.Duration) (*DB, error) {
	// Where the system can, a commit flushes the log's data and length but not the
	// time of its last change, which costs a second flush and some kB on ext4.
	// Where it cannot, SQLite flushes the time too.
	_, _ = sqlite.Fdatasync(true)
	if err := Finish(path); err != nil {
		return nil, err
	}
	db := &DB{Path: path}
	size, err := check(path, schema)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		if _, err := os.Stat(filepath.Dir(path)); err != nil {
			return nil, fault.Fault{File: path, Text: "its directory does not exist", Hint: "make it first"}
		}
	case err != nil:
		return nil, Explain(path, err)
	case size > 0:
		// Looked at first through a connection that cannot change it.
		if _, err := inspect(dsn(path, readSettings(path)), schema); err != nil {
			return nil, Explain(path, err)
		}
	}
	if size == 0 {
		if err := createFile(path, schema.PageSize, busyTimeout); err != nil {
			return nil, Explain(path, err)
		}
	}
	if db.Write, err = sql.Open("sqlite", dsn(path, writeSettings(busyTimeout))); err != nil {
		return nil, Explain(path, err)
	}
	db.Write.SetMaxOpenConns(1)
	if err := retryBusy(busyTimeout, func() error { return createTables(context.Background(), db.Write, schema) }); err != nil {
		db.Write.Close()
		return nil, Explain(path, err)
	}
	if db.Read, err = sql.Open("sqlite", dsn(path, readOnly)); err == nil {
		err = db.recordPlace(false)
	}
	if err != nil {
		db.Write.Close()
		return nil, Explain(path, err)
	}
	return db, nil
}

// createFile makes a new database with pages of a size. That has to come before all
// else, and the driver sets what a file's name asks for in an order of its own.
func createFile(path string, pageSize int, busyTimeout time.Duration) error {
	db, err := sql.Open("sqlite", dsn(path, url.Values{"_pragma": {fmt.Sprintf("busy_timeout(%d)", busyTimeout.Milliseconds())}}))
	if err != nil {
		return err
	}
	defer db.Close()
	return retryBusy(busyTimeout, func() error {
		conn, err := db.Conn(context.Background())
		if err != nil {
			return err
		}
		defer conn.Close()
		_, err = conn.ExecContext(context.Background(), fmt.Sprintf("PRAGMA page_size = %d; PRAGMA journal_mode = WAL", pageSize))
		return err
	})
}

// OpenReadOnly opens the database at path for reading. It must exist.
func OpenReadOnly(path string, schema Schema) (*DB, error) {
	if err := Finish(path); err != nil {
		return nil, err
	}
	switch _, err := check(path, schema); {
	case errors.Is(err, fs.ErrNotExist):
		return nil, fault.Fault{File: path, Text: "there is no such store", Hint: "import readings to make one"}
	case err != nil:
		return nil, Explain(path, err)
	}
	how := readSettings(path)
	found, err := inspect(dsn(path, how), schema)
	if cannotCreate(err) && !logHasContent(path) {
		// This directory is read-only, so the shared index of the log cannot be
		// created. With an empty log readers do not need it.
		how = immutable
		found, err = inspect(dsn(path, how), schema)
	}
	if err == nil && found.isEmpty() {
		err = fault.Fault{Text: "the store is empty", Hint: "import readings first"}
	}
	if err != nil {
		return nil, Explain(path, err)
	}
	db := &DB{Path: path}
	if db.Read, err = sql.Open("sqlite", dsn(path, how)); err != nil {
		return nil, Explain(path, err)
	}
	return db, nil
}

// Close closes the database.
func (db *DB) Close() error {
	err := db.Read.Close()
	if db.Write != nil {
		err = errors.Join(err, db.Write.Close()) // the last: its connection keeps the log, see KeepLog
	}
	db.mu.Lock()
	defer db.mu.Unlock()
	for _, file := range db.claims {
		err = errors.Join(err, file.Close())
	}
	db.claims = nil
	return Explain(db.Path, err)
}

// unlockStore unlocks the file of the database. It is closed when SQLite has closed it.
func (db *DB) unlockStore(file *os.File) error {
	if db.Read == nil {
		return file.Close()
	}
	db.mu.Lock()
	defer db.mu.Unlock()
	db.claims = append(db.claims, file)
	return unlockFile(file)
}

// maxIdleReaders is how many connections for reading are kept.
const maxIdleReaders = 2

// ReleaseCache frees the pages that connections for reading have cached.
func (db *DB) ReleaseCache() {
	db.Read.SetMaxIdleConns(0)
	db.Read.SetMaxIdleConns(maxIdleReaders)
}

// Update calls a function within a writing transaction. When it returns without an error,
// the change is safe on disk; otherwise nothing was changed.
func (db *DB) Update(ctx context.Context, change func(*sql.Tx) error) error {
	if db.Write == nil {
		return fault.Fault{File: db.Path, Text: "the store was opened for reading only"}
	}
	err := func() error {
		tx, err := db.Write.BeginTx(ctx, nil)
		if err != nil {
			return err
		}
		defer tx.Rollback() // after a commit it does nothing
		if err := change(tx); err != nil {
			return err
		}
		return tx.Commit()
	}()
	if err != nil {
		err = Cancelled(ctx, err)
	}
	return Explain(db.Path, err)
}

// View calls a function within a reading transaction: it sees the state at its beginning.
func (db *DB) View(ctx context.Context, look func(*sql.Tx) error) error {
	err := func() error {
		tx, err := db.Read.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
		if err != nil {
			return err
		}
		defer tx.Rollback() // it has changed nothing
		return look(tx)
	}()
	if err != nil {
		err = Cancelled(ctx, err)
	}
	return Explain(db.Path, err)
}

// magic begins every SQLite database (SQLite, "Database File Format"). SQLite
// itself takes a file of a few bytes for an empty database and writes over it.
const magic = "SQLite format 3\x00"

// check reports whether a file can be a store, and its size in bytes.
func check(path string, schema Schema) (size int64, err error) {
	if path == "" {
		return 0, fault.Fault{Text: "the store has no name", Hint: "name its file"}
	}
	info, err := os.Stat(path)
	if err != nil {
		return 0, fault.Cause(err)
	}
	if !info.Mode().IsRegular() {
		return 0, fault.Fault{Text: "this is not a file", Hint: "name the store's file"}
	}
	if n := links(info); n > 1 {
		return 0, fault.Fault{Text: fmt.Sprintf("the file has %d names (hard links), and its log only one", n),
			Hint: "copy it to a file of its own, or remove the other names"}
	}
	file, err := os.Open(path)
	if err != nil {
		return 0, fault.Cause(err)
	}
	defer file.Close()
	head := make([]byte, headSize)
	n, err := io.ReadFull(file, head)
	if info.Size() > 0 && (n < len(magic) || string(head[:len(magic)]) != magic) {
		if err == nil && wasStore(path, head, schema) {
			return 0, ErrBeginning
		}
		return 0, failure{explanations[sqlite3.SQLITE_NOTADB], ErrNotStore}
	}
	return info.Size(), nil
}

// headSize is the length of an SQLite database's head, applicationAt where the
// application's mark stands in it, and logMagic how a log begins but for its last bit
// (SQLite, "Database File Format", 1.3 and 4.1).
const (
	headSize      = 100
	applicationAt = 68
	logMagic      = 0x377f0682
)

// wasStore reports whether a file whose beginning is broken was a store: by what is left of
// its head, or by the log beside it.
func wasStore(path string, head []byte, schema Schema) bool {
	if int64(binary.BigEndian.Uint32(head[applicationAt:])) == schema.Application {
		return true
	}
	log, err := os.Open(resolved(path) + "-wal")
	if err != nil {
		return false
	}
	defer log.Close()
	var begin [4]byte
	_, err = io.ReadFull(log, begin[:])
	return err == nil && binary.BigEndian.Uint32(begin[:])&^1 == logMagic
}

// logHasContent reports whether a log beside the store holds what the store lacks.
func logHasContent(path string) bool {
	info, err := os.Stat(resolved(path) + "-wal")
	return err == nil && info.Size() > 0
}

// untrusted keeps SQLite from running SQL in the schema of a file that another program wrote
// (SQLite, "Defense Against The Dark Arts").
const untrusted = "trusted_schema(0)"

// smallCache bounds the pages that a connection for reading keeps, in KiB: a store is read
// from its beginning to its end, a chunk at a time.
const smallCache = "cache_size(-256)"

// Ways to open a database. Settings are given with the file's name, because they
// hold for one connection and the pool opens several.
var (
	readOnly  = url.Values{"mode": {"ro"}, "_pragma": {"busy_timeout(5000)", smallCache, untrusted}}
	immutable = url.Values{"mode": {"ro"}, "immutable": {"1"}, "_pragma": {untrusted}}
)

// readAndRemoveLog reads a store that has no log. SQLite makes one while it reads, and its index,
// and only a connection that could write takes both away again when it is closed.
var readAndRemoveLog = url.Values{"mode": {"rw"}, "_pragma": {"busy_timeout(5000)", "query_only(1)", smallCache, untrusted}}

// readSettings returns the way to read a store so that nothing is left behind. Where there is a
// log, it may hold what only its writer should move, and stays with its index.
func readSettings(path string) url.Values {
	file, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return readOnly
	}
	file.Close()
	if _, err := os.Stat(resolved(path) + "-wal"); !errors.Is(err, fs.ErrNotExist) {
		return readOnly
	}
	return readAndRemoveLog
}

func writeSettings(busyTimeout time.Duration) url.Values {
	return url.Values{
		"_txlock": {"immediate"}, // so that a second writer waits at the start and not half-way
		"_pragma": {
			fmt.Sprintf("busy_timeout(%d)", busyTimeout.Milliseconds()),
			"journal_mode(WAL)",
			"synchronous(FULL)", // with less, a loss of power takes the last commits along
			"foreign_keys(1)",
			untrusted,
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

// Size returns the sizes of the database's file, of what is used of it, and of its
// log, in bytes.
func (db *DB) Size(ctx context.Context) (file, used, log int64, err error) {
	err = db.View(ctx, func(tx *sql.Tx) error {
		var pages, free, size int64
		for pragma, into := range map[string]*int64{"page_count": &pages, "freelist_count": &free, "page_size": &size} {
			if err := tx.QueryRowContext(ctx, "PRAGMA "+pragma).Scan(into); err != nil {
				return err
			}
		}
		file, used = pages*size, (pages-free)*size
		return nil
	})
	if info, err := os.Stat(resolved(db.Path) + "-wal"); err == nil {
		log = info.Size()
	}
	return file, used, log, err
}
