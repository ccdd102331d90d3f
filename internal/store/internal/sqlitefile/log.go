package sqlitefile

import (
	"context"
	"errors"
	"fmt"
	"os"
	"syscall"

	"modernc.org/sqlite"
)

// logPages is the number of pages in the write-ahead log at which SQLite makes a checkpoint.
const (
	logPages = 1000
	frame    = 24 // bytes before each page in the log (SQLite, "WAL-mode File Format")
)

// KeepLog prepares the write-ahead log for many small commits: it gets its full length at once,
// and is not truncated or removed when the store is closed. While a log grows, each commit also
// writes metadata of the file system, several times the size of the commit, and flushes twice.
func (db *DB) KeepLog(ctx context.Context) error {
	return Explain(db.Path, func() error {
		conn, err := db.Write.Conn(ctx)
		if err != nil {
			return err
		}
		defer conn.Close()
		if err := conn.Raw(func(driver any) error {
			control, ok := driver.(sqlite.FileControl)
			if !ok {
				return errors.New("the database driver cannot keep its log")
			}
			_, err := control.FileControlPersistWAL("main", 1)
			return err
		}); err != nil {
			return err
		}
		var pageSize int64
		if err := conn.QueryRowContext(ctx, "PRAGMA page_size").Scan(&pageSize); err != nil {
			return err
		}
		if _, err := conn.ExecContext(ctx, fmt.Sprintf("PRAGMA wal_autocheckpoint = %d", logPages)); err != nil {
			return err
		}
		// No other connection writes to the log while this one holds the write lock.
		if _, err := conn.ExecContext(ctx, "BEGIN IMMEDIATE"); err != nil {
			return err
		}
		defer conn.ExecContext(context.WithoutCancel(ctx), "ROLLBACK")
		if err := preallocate(resolved(db.Path)+"-wal", logPages*5/4*(pageSize+frame)); err != nil && !errors.Is(err, syscall.ENOSPC) {
			return err // on a full disk the log keeps its length
		}
		return db.recordPlace(true)
	}())
}

// preallocate fills a file with zeros up to a size in bytes; SQLite takes zeros as the end of the
// log. It writes zeros because blocks that are only reserved change metadata of the file system
// when they are first written.
func preallocate(path string, size int64) error {
	file, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o644)
	if err != nil {
		return err
	}
	err = func() error {
		info, err := file.Stat()
		if err != nil || info.Size() >= size {
			return err
		}
		if _, err := file.WriteAt(make([]byte, size-info.Size()), info.Size()); err != nil {
			return err
		}
		return file.Sync()
	}()
	return errors.Join(err, file.Close())
}
