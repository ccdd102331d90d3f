// Package tables lays readings out in the tables of a store: series, the chunks
// they are packed in, and the tail of commits that are not in chunks yet.
//
// A series is what readings have in common, down to the form of their numbers.
// Its chunks follow each other in time and never overlap, so readings that arrive
// out of order are merged into the chunk where they belong. The moments of series
// that were read together are kept once.
//
// All functions work within a transaction of the caller and leave errors of
// SQLite as they are.
//
// # Layout
//
// The tables and their columns are described where they are made, in tables/*.sql;
// the blocks in them in package chunk, byte by byte, and the columns within those
// in package column.
package tables

import (
	"context"
	"database/sql"
	"embed"

	"ohmkeep/internal/store/internal/sqlitefile"
)

//go:embed tables/*.sql
var tables embed.FS

// Schema is the schema of a store. The application ID spells "OHMK". Pages are
// small because a commit writes at least one, and most commits are small.
var Schema = sqlitefile.Schema{
	Application: 0x4f484d4b,
	PageSize:    1024,
	Steps:       []sqlitefile.Step{script("tables/1.sql"), intoChunks},
}

// script is a step that does what a file says.
func script(name string) sqlitefile.Step {
	text, err := tables.ReadFile(name)
	if err != nil {
		panic(err) // the file is missing from the program
	}
	return func(ctx context.Context, tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, string(text))
		return err
	}
}
