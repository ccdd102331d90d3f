package sqlitefile

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"ohmkeep/internal/fault"
)

// Copy writes a copy of the present state of the database, without its free pages, to another
// file. Other programs may write to the database meanwhile. An existing copy is replaced in one
// step when the new one is complete and safe on disk.
func (db *DB) Copy(ctx context.Context, to string) error {
	return Explain(db.Path, copyTo(ctx, db.Path, to))
}

// copyTo copies a database.
func copyTo(ctx context.Context, path, to string) error {
	if to == "" {
		return fault.Fault{Text: "the copy has no name", Hint: "name its file"}
	}
	if same(path, to) {
		return fault.Fault{Text: "a store is not copied onto itself", Hint: "name another file"}
	}
	if info, err := os.Stat(to); err == nil && !info.Mode().IsRegular() {
		return fault.Fault{File: to, Text: "this is not a file", Hint: "name a file"}
	}
	removeParts(to)
	part := fmt.Sprintf("%s%s%d", to, partSuffix, os.Getpid())
	Remove(part)
	defer Remove(part) // an unfinished copy; after the renaming it does not exist
	how := maps.Clone(readSettings(path))
	how["_pragma"] = []string{"busy_timeout(5000)", untrusted} // with query_only SQLite writes no copy either
	db, err := sql.Open("sqlite", dsn(path, how))
	if err != nil {
		return err
	}
	defer db.Close()
	if _, err := db.ExecContext(ctx, "VACUUM INTO ?", dsn(part, nil)); err != nil {
		return fmt.Errorf("copy to %s: %w", to, err)
	}
	if err := errors.Join(copyOwner(path, part), flush(part)); err != nil {
		return err
	}
	if err := os.Rename(part, to); err != nil {
		return err
	}
	return flushDirectory(filepath.Dir(to))
}

// partSuffix, followed by the process id, is the end of the name of an unfinished copy.
const partSuffix = ".part"

// removeParts removes the unfinished copies of killed programs.
func removeParts(to string) {
	found, _ := filepath.Glob(globEscape(to) + partSuffix + "*")
	for _, name := range found {
		var process int
		if _, err := fmt.Sscanf(strings.TrimPrefix(name, to+partSuffix), "%d", &process); err == nil && !processExists(process) {
			_ = os.Remove(name) // it does no harm
		}
	}
}

// globEscape returns a pattern that matches a path alone.
func globEscape(path string) string {
	return strings.NewReplacer(`*`, `[*]`, `?`, `[?]`, `[`, `[[]`).Replace(path)
}

func same(a, b string) bool {
	one, err := os.Stat(a)
	if err != nil {
		return false
	}
	two, err := os.Stat(b)
	return err == nil && os.SameFile(one, two)
}

// flush flushes the content of a file to the disk (fsync).
func flush(path string) error {
	file, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	err = file.Sync()
	return errors.Join(err, file.Close())
}

// flushDirectory flushes the names in a directory to the disk, if the system can.
func flushDirectory(path string) error {
	if runtime.GOOS == "windows" {
		return nil
	}
	dir, err := os.Open(path)
	if err != nil {
		return err
	}
	err = dir.Sync()
	return errors.Join(err, dir.Close())
}

// Compact rewrites the database without free pages, with the page size of the schema. It needs
// free space for a second database. No other program may have the database opened.
func (db *DB) Compact(ctx context.Context, schema Schema) error {
	if db.Write == nil {
		return fault.Fault{File: db.Path, Text: "the store was opened for reading only"}
	}
	return Explain(db.Path, func() error {
		db.Read.SetMaxIdleConns(0) // the mode of the log changes only for a lone connection
		defer db.Read.SetMaxIdleConns(maxIdleReaders)
		conn, err := db.Write.Conn(ctx)
		if err != nil {
			return err
		}
		defer conn.Close()
		var mode string
		if err := conn.QueryRowContext(ctx, "PRAGMA journal_mode = DELETE").Scan(&mode); err != nil {
			return err
		}
		_, err = conn.ExecContext(ctx, fmt.Sprintf("PRAGMA page_size = %d; VACUUM", schema.PageSize))
		if again := conn.QueryRowContext(context.WithoutCancel(ctx), "PRAGMA journal_mode = WAL").Scan(&mode); err == nil {
			err = again
		}
		return err
	}())
}

// removeIdleJournal removes the rollback journal of a Compact that was killed before it
// wrote to the database: SQLite leaves such a journal, which begins with a zero, and uses it
// for nothing (file format, "hot journals"). The caller holds the claim.
func removeIdleJournal(path string) {
	journal := path + "-journal"
	file, err := os.Open(journal)
	if err != nil {
		return
	}
	var first [1]byte
	n, err := file.Read(first[:])
	file.Close()
	if n == 0 && err == io.EOF || n == 1 && first[0] == 0 {
		_ = os.Remove(journal) // it does no harm
	}
}
