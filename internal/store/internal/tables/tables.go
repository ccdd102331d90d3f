// Package tables stores readings in the tables of a store: series, chunks of compressed readings,
// and the tail of commits that are not in chunks yet.
//
// The readings of a series share everything but time, value and quality, including the form of
// their numbers. The chunks of a series follow each other in time and never overlap, so that
// readings which arrive out of order are merged into the chunk where they belong. Series that were
// read together share their moments.
//
// All functions work within a transaction of the caller and return errors of SQLite unchanged.
//
// # Layout
//
// The tables and their columns are described in schema.sql, the format of blocks in package chunk,
// and that of the columns within blocks in package column.
package tables

import (
	_ "embed" // schema.sql

	"ohmkeep/internal/store/internal/delivery"
	"ohmkeep/internal/store/internal/sqlitefile"
)

//go:embed schema.sql
var schema string

// Schema is the schema of a store. The application ID spells "OHMK". Pages are small because a
// commit writes at least one page, and most commits are small.
var Schema = sqlitefile.Schema{Application: 0x4f484d4b, Version: 3, PageSize: 1024, SQL: schema, Optional: delivery.Schema}
