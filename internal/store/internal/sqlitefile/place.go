package sqlitefile

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"ohmkeep/internal/fault"
)

// ErrDisplaced is the error of a database whose file, log or directory was removed, renamed or
// replaced since it was opened: readings written to it would be lost.
var ErrDisplaced = errors.New("displaced")

// place identifies the files of a database at the time of opening.
type place struct {
	path      string // without symbolic links
	file, log os.FileInfo
}

// resolved returns a path without symbolic links, from which SQLite forms the name of the log.
func resolved(path string) string {
	if whole, err := filepath.EvalSymlinks(path); err == nil {
		return whole
	}
	return path
}

// Displaced returns an error that wraps ErrDisplaced if the file at the path of the database or of
// its log is missing or is not the opened one.
func (db *DB) Displaced() error {
	db.mu.Lock()
	p := db.place
	db.mu.Unlock()
	text := ""
	if p.file != nil {
		text = p.displaced()
	}
	if text == "" {
		return nil
	}
	return failure{fault.Fault{File: db.Path, Text: text, Hint: "leave a store alone while a program writes to it; stop that first"}, ErrDisplaced}
}

func (p place) displaced() string {
	now, err := os.Stat(p.path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		if _, err := os.Stat(filepath.Dir(p.path)); err != nil {
			return "the store's directory was removed or renamed while it was written to"
		}
		return "the store was removed or renamed while it was written to"
	case err == nil && !os.SameFile(now, p.file):
		return "another file was put in the place of the store while it was written to"
	case err != nil || p.log == nil: // missing permission is reported elsewhere
		return ""
	}
	now, err = os.Stat(p.path + "-wal")
	if errors.Is(err, fs.ErrNotExist) || err == nil && !os.SameFile(now, p.log) {
		return "the store's log (-wal) was removed or replaced while it was written to"
	}
	return ""
}

// recordPlace records the identity of the database's file and, if log is true, of its log.
func (db *DB) recordPlace(log bool) error {
	p := place{path: resolved(db.Path)}
	var err error
	if p.file, err = os.Stat(p.path); err == nil && log {
		p.log, err = os.Stat(p.path + "-wal")
	}
	if err != nil {
		return err
	}
	db.mu.Lock()
	db.place = p
	db.mu.Unlock()
	return nil
}

// MoveToNewFile copies a displaced database, which the open connection can still read, to a
// new file at the database's path and closes the old one. If another file is at that path,
// the copy gets another name, which is returned; "" = it is at the database's path.
func (db *DB) MoveToNewFile(ctx context.Context) (kept string, err error) {
	p := db.place
	if err := os.MkdirAll(filepath.Dir(p.path), 0o755); err != nil {
		return "", err
	}
	copied := p.path + RescueSuffix
	Remove(copied)
	defer RemovePart(p.path)
	if _, err := db.Write.ExecContext(ctx, "VACUUM INTO ?", dsn(copied, nil)); err != nil {
		return "", Explain(db.Path, err)
	}
	if err := errors.Join(os.Chmod(copied, p.file.Mode().Perm()), flush(copied)); err != nil {
		return "", err
	}
	if err := db.Close(); err != nil && !Damaged(err) {
		return "", err
	}
	now, err := os.Stat(p.path)
	switch stamp := time.Now().UTC().Format("20060102T150405"); {
	case err == nil && os.SameFile(now, p.file):
		return "", Exchange(p.path, copied, fmt.Sprintf("%s.displaced-%s", p.path, stamp))
	case err == nil:
		kept = fmt.Sprintf("%s.displaced-%s", p.path, stamp)
		err = os.Rename(copied, kept)
	case errors.Is(err, fs.ErrNotExist):
		// A remaining log belongs to the removed file.
		Remove(p.path)
		err = os.Rename(copied, p.path)
	}
	if err != nil {
		return "", err
	}
	return kept, flushDirectory(filepath.Dir(p.path))
}

// RescueSuffix is the end of the name of a new database that has not replaced the old one yet.
const RescueSuffix = ".rescued"

// Remove removes a database with its log and the log's index.
func Remove(path string) {
	for _, ending := range []string{"", "-wal", "-shm", "-journal"} {
		_ = os.Remove(path + ending) // if it cannot be removed, the next operation fails
	}
}
