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
// The tables and their columns are described where they are made, in schema.sql;
// the blocks in them in package chunk, byte by byte, and the columns within those
// in package column.
package tables

import (
	_ "embed" // schema.sql

	"ohmkeep/internal/store/internal/sqlitefile"
)

//go:embed schema.sql
var schema string

// Schema is the schema of a store. The application ID spells "OHMK". Pages are
// small because a commit writes at least one, and most commits are small.
var Schema = sqlitefile.Schema{Application: 0x4f484d4b, Version: 3, PageSize: 1024, SQL: schema}
