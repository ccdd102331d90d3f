// Package sqlitefile opens the file of a store: an SQLite database with one writer
// and any number of readers.
//
// It checks that a file is a store, sets up each connection, explains SQLite's errors in plain
// words, and keeps the write-ahead log at a fixed length. It does not know the content of the
// tables.
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

// BusyTimeout is the time-out of waiting for the transaction of another writer.
const BusyTimeout = 5 * time.Second

// DB is an open database. It may be used by several goroutines at once.
type DB struct {
	Path  string // as the user named it
	Read  *sql.DB
	Write *sql.DB // one connection; nil if it was opened for reading only

	mu     sync.Mutex
	place  place      // zero if it was opened for reading only
	claims []*os.File // unlocked descriptors of the database, to be closed after SQLite's
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
		// Checked first over a connection that cannot change it.
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

// createFile creates a database with a page size. The page size must be set before anything else,
// but the driver applies settings of a file name in an order of its own.
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
		err = errors.Join(err, db.Write.Close()) // last, because its connection keeps the log, see KeepLog
	}
	db.mu.Lock()
	defer db.mu.Unlock()
	for _, file := range db.claims {
		err = errors.Join(err, file.Close())
	}
	db.claims = nil
	return Explain(db.Path, err)
}

// unlockStore unlocks a descriptor of the database. It is closed after SQLite has closed the file.
func (db *DB) unlockStore(file *os.File) error {
	if db.Read == nil {
		return file.Close()
	}
	db.mu.Lock()
	defer db.mu.Unlock()
	db.claims = append(db.claims, file)
	return unlockFile(file)
}

// maxIdleReaders is the number of idle connections for reading that are kept.
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

// magic is the beginning of every SQLite database (SQLite, "Database File Format"). It is checked
// here because SQLite takes a file of a few bytes as an empty database and overwrites it.
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

// headSize is the length of a database's header in bytes, applicationAt the offset of the
// application ID in it, and logMagic the beginning of a log with its last bit 0 (SQLite,
// "Database File Format", 1.3 and 4.1).
const (
	headSize      = 100
	applicationAt = 68
	logMagic      = 0x377f0682
)

// wasStore reports whether a file with a damaged beginning is a store, as shown by the rest of its
// header or by a log beside it.
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

// logHasContent reports whether the log beside the store may hold commits that are not in the store.
func logHasContent(path string) bool {
	info, err := os.Stat(resolved(path) + "-wal")
	return err == nil && info.Size() > 0
}

// untrusted keeps SQLite from running SQL in the schema of a file that another program wrote
// (SQLite, "Defense Against The Dark Arts").
const untrusted = "trusted_schema(0)"

// smallCache limits the page cache of a connection for reading to 256 KiB. A larger one is of no
// use, because a store is read from beginning to end, one chunk at a time.
const smallCache = "cache_size(-256)"

// Settings of connections. They are part of the file name, because they apply to one connection
// and the pool opens several.
var (
	readOnly  = url.Values{"mode": {"ro"}, "_pragma": {"busy_timeout(5000)", smallCache, untrusted}}
	immutable = url.Values{"mode": {"ro"}, "immutable": {"1"}, "_pragma": {untrusted}}
)

// readAndRemoveLog are the settings for reading a store without a log. SQLite creates a log and its
// index while it reads; only a connection with permission to write removes them when it is closed.
var readAndRemoveLog = url.Values{"mode": {"rw"}, "_pragma": {"busy_timeout(5000)", "query_only(1)", smallCache, untrusted}}

// readSettings returns the settings for reading a store without leaving files behind. An existing
// log and its index are kept, because only the writer should make a checkpoint.
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
		"_txlock": {"immediate"}, // so that a second writer waits at the start of its transaction
		"_pragma": {
			fmt.Sprintf("busy_timeout(%d)", busyTimeout.Milliseconds()),
			"journal_mode(WAL)",
			"synchronous(FULL)", // otherwise a loss of power loses the last commits
			"foreign_keys(1)",
			untrusted,
		},
	}
}

// dsn returns the data source name of a database. The path is made absolute, because "//" at its
// beginning would start a host name. It is escaped, because ?, # and % have a meaning in a URL.
func dsn(path string, how url.Values) string {
	if whole, err := filepath.Abs(path); err == nil {
		path = whole
	}
	return "file:" + (&url.URL{Path: filepath.ToSlash(path)}).EscapedPath() + "?" + how.Encode()
}

// Size returns the size of the database's file, of its used pages, and of its log, in bytes.
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
