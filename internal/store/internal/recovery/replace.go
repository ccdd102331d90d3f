package recovery

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"time"

	"ohmkeep/internal/store/internal/sqlitefile"
	"ohmkeep/internal/store/internal/tables"
)

// Replace puts a damaged store aside and in its place a new one of all that can be
// read and is whole, if that is nothing. Nobody may have it open. It gives the
// name under which the damaged file is kept.
func Replace(ctx context.Context, path string) (aside string, err error) {
	db := &sqlitefile.DB{Path: path}
	claim, err := db.Claim("ohmkeep store compact", "")
	if err != nil {
		return "", err
	}
	aside, err = replace(ctx, path)
	return aside, errors.Join(err, claim.Release())
}

func replace(ctx context.Context, path string) (aside string, err error) {
	part := path + ".rescued"
	for _, name := range []string{part, part + "-wal", part + "-shm"} {
		if err := os.Remove(name); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return "", err
		}
	}
	to, err := sqlitefile.Open(part, tables.Schema, sqlitefile.Patience)
	if err != nil {
		return "", err
	}
	mended, done, err := sqlitefile.Mended(path, tables.Schema)
	if err != nil {
		return "", errors.Join(err, to.Close())
	}
	err = sqlitefile.Look(mended, func(from *sql.Tx) error {
		return to.Update(ctx, func(tx *sql.Tx) error {
			_, err := Into(ctx, from, tx)
			return err
		})
	})
	done()
	if err = errors.Join(err, to.Close()); err != nil && !tables.Broken(err) {
		return "", err
	}
	aside = fmt.Sprintf("%s.damaged-%s", path, time.Now().UTC().Format("20060102T150405"))
	return aside, sqlitefile.Exchange(path, part, aside)
}
