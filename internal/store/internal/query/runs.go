// Package query reads the readings of a store: record by record in the order of time, in
// columns, or as sums. Damaged chunks are left out and reported; nothing is guessed.
//
// All functions work within a transaction of the caller and return errors of SQLite unchanged.
package query

import (
	"context"
	"database/sql"

	"ohmkeep/internal/store/internal/tables"
)

// Run summarises the readings that a store holds of one run.
type Run struct {
	Name        string
	Readings    int64
	First, Last int64    // ns since 1970 in UTC
	Sources     []string // origins of the readings, in the order of their first reading
}

// Runs returns the runs that a store holds readings of, in the order of their names.
func Runs(ctx context.Context, tx *sql.Tx) ([]Run, error) {
	runs, byID, err := inChunksByRun(ctx, tx)
	if err != nil {
		return nil, err
	}
	owner, err := owners(ctx, tx)
	if err != nil {
		return nil, err
	}
	tail, err := tables.Tail(ctx, tx, nil)
	if err != nil {
		return nil, err
	}
	for _, s := range tail.Sections {
		r := byID[owner[s.Series]]
		if r == nil {
			continue // its series is lost
		}
		first, last := s.Records[0].At, s.Records[len(s.Records)-1].At
		if r.Readings == 0 {
			r.First, r.Last = first, last
		}
		r.First, r.Last = min(r.First, first), max(r.Last, last)
		r.Readings += int64(len(s.Records))
	}
	var held []Run
	for _, r := range runs {
		if r.Readings > 0 {
			held = append(held, *r)
		}
	}
	return held, nil
}

// inChunksByRun returns all runs in the order of their names, with the readings in chunks.
func inChunksByRun(ctx context.Context, tx *sql.Tx) (runs []*Run, byID map[int64]*Run, err error) {
	rows, err := tx.QueryContext(ctx, `WITH held AS MATERIALIZED (
			SELECT series.run, sum(n) AS n, min(first) AS first, max(last) AS last
			FROM chunk JOIN series ON series.id = chunk.series GROUP BY series.run)
		SELECT run.id, run.name, source.name, coalesce(held.n, 0), coalesce(held.first, 0), coalesce(held.last, 0)
		FROM run LEFT JOIN held ON held.run = run.id LEFT JOIN source ON source.run = run.id
		ORDER BY run.name, source.id`)
	if err != nil {
		return nil, nil, err
	}
	defer rows.Close()
	byID = map[int64]*Run{}
	for rows.Next() {
		var id int64
		var r Run
		var source sql.NullString
		if err := rows.Scan(&id, &r.Name, &source, &r.Readings, &r.First, &r.Last); err != nil {
			return nil, nil, err
		}
		if byID[id] == nil {
			byID[id] = &r
			runs = append(runs, &r)
		}
		if source.Valid {
			byID[id].Sources = append(byID[id].Sources, source.String)
		}
	}
	return runs, byID, rows.Err()
}

// owners returns the run of each series.
func owners(ctx context.Context, tx *sql.Tx) (map[int64]int64, error) {
	rows, err := tx.QueryContext(ctx, "SELECT id, run FROM series")
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	all := map[int64]int64{}
	for rows.Next() {
		var id, runID int64
		if err := rows.Scan(&id, &runID); err != nil {
			return nil, err
		}
		all[id] = runID
	}
	return all, rows.Err()
}
