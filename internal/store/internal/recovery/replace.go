package recovery

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"time"

	"ohmkeep/internal/store/internal/events"
	"ohmkeep/internal/store/internal/pages"
	"ohmkeep/internal/store/internal/sqlitefile"
	"ohmkeep/internal/store/internal/tables"
)

// Rescued is the result of a rescue.
type Rescued struct {
	Aside string // the name under which the damaged file is kept
	Count
}

// CountFile returns how many readings Replace would keep of a store.
func CountFile(ctx context.Context, path string) (Count, error) {
	src, err := pages.Open(path, tables.Schema.PageSize)
	if err != nil {
		return Count{}, err
	}
	defer src.Close()
	return CountWhole(ctx, src)
}

// Replace renames a damaged store and writes a new one in its place with all undamaged readings,
// which may be none. No program may have the store open.
func Replace(ctx context.Context, path string) (r Rescued, err error) {
	if err := sqlitefile.Finish(path); err != nil {
		return r, err
	}
	db := &sqlitefile.DB{Path: path}
	claim, err := db.Claim("ohmkeep store compact", "")
	if err != nil {
		return r, err
	}
	r, err = replace(ctx, path)
	return r, errors.Join(err, claim.Release())
}

func replace(ctx context.Context, path string) (r Rescued, err error) {
	part := path + sqlitefile.RescueSuffix
	sqlitefile.Remove(part)
	defer sqlitefile.RemovePart(path) // what is left of it; in its place it has another name
	src, err := pages.Open(path, tables.Schema.PageSize)
	if err != nil {
		return r, err
	}
	defer src.Close()
	whole, err := find(ctx, src)
	if err != nil {
		return r, err
	}
	r.Count = whole.Count
	to, err := sqlitefile.Open(part, tables.Schema, sqlitefile.BusyTimeout)
	if err != nil {
		return r, err
	}
	if r.Aside, err = asideName(path); err != nil {
		return r, errors.Join(err, to.Close())
	}
	err = to.Update(ctx, func(tx *sql.Tx) error {
		if err := whole.writeTo(ctx, src, tx); err != nil {
			return err
		}
		return mark(ctx, tx, r)
	})
	if err = errors.Join(err, to.Close(), src.Close()); err != nil {
		return r, fmt.Errorf("%s: what is whole of it cannot be written: %w", path, err)
	}
	return r, sqlitefile.Exchange(path, part, r.Aside)
}

// mark records in each run of a new store that it replaces a damaged one.
func mark(ctx context.Context, tx *sql.Tx, r Rescued) error {
	text := fmt.Sprintf("%d readings were taken over, %d are lost; the damaged file is kept as %s", r.Readings, r.Lost+r.Orphans, r.Aside)
	_, err := tx.ExecContext(ctx, "INSERT INTO mark (run, at, zone, kind, subject, text) SELECT id, ?, 0, ?, '', ? FROM run",
		time.Now().UnixNano(), events.Damaged, text)
	return err
}

// asideName returns an unused file name for the damaged store.
func asideName(path string) (string, error) {
	name := fmt.Sprintf("%s.damaged-%s", path, time.Now().UTC().Format("20060102T150405"))
	for i := 2; ; i++ {
		try := name
		if i > 2 {
			try = fmt.Sprintf("%s-%d", name, i-1)
		}
		if _, err := os.Lstat(try); errors.Is(err, fs.ErrNotExist) {
			return try, nil
		} else if err != nil {
			return "", err
		}
	}
}
