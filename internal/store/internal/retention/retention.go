// Package retention deletes the oldest readings of a store and keeps minimum, mean and
// maximum of each of their hours.
package retention

import (
	"context"
	"database/sql"

	"ohmkeep/internal/store/internal/chunk"
	"ohmkeep/internal/store/internal/query"
	"ohmkeep/internal/store/internal/tables"
)

// Deleted is the number of deleted chunks and readings.
type Deleted struct {
	Readings, Chunks int
	First, Last      int64 // their period, ns since 1970; only if Readings > 0
}

// Delete deletes the oldest chunks of a run that end before a moment, at most a given number.
// It deletes only readings of probes outside a known step: verdicts are based on imported
// and typed readings and on known steps. Minimum, mean and maximum of each hour stay.
func Delete(ctx context.Context, tx *sql.Tx, runID, before int64, most int) (g Deleted, err error) {
	old, err := oldest(ctx, tx, runID, before, most)
	if err != nil {
		return Deleted{}, err
	}
	series := map[int64]*tables.Series{}
	var m chunk.Moments
	var v chunk.Values
	for _, o := range old {
		s := series[o.series]
		if s == nil {
			if s, err = tables.One(ctx, tx, o.series); err != nil {
				return Deleted{}, err
			}
			series[o.series] = s
		}
		o.Identity = s.Identity
		switch err := o.Load(ctx, tx, &m, &v); {
		case tables.Broken(err): // nothing can be kept of a damaged chunk
		case err != nil:
			return Deleted{}, err
		default:
			if err := keepHours(ctx, tx, s, chunk.AppendRecords(nil, &m, &v)); err != nil {
				return Deleted{}, err
			}
		}
		if _, err := tx.ExecContext(ctx, "DELETE FROM chunk WHERE id = ?", o.ID); err != nil {
			return Deleted{}, err
		}
		if _, err := tx.ExecContext(ctx, "DELETE FROM moments WHERE id = ?1 AND NOT EXISTS (SELECT 1 FROM chunk WHERE moments = ?1)",
			o.Moments); err != nil {
			return Deleted{}, err
		}
		if err := tables.AddCount(ctx, tx, o.series, -o.N); err != nil {
			return Deleted{}, err
		}
		if g.Readings == 0 || o.First < g.First {
			g.First = o.First
		}
		g.Last = max(g.Last, o.Last)
		g.Readings += o.N
	}
	g.Chunks = len(old)
	return g, nil
}

// Any reports whether readings of a run were deleted.
func Any(ctx context.Context, tx *sql.Tx, runID int64) (any bool, err error) {
	err = tx.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM hourly JOIN series ON series.id = hourly.series WHERE series.run = ?)", runID).Scan(&any)
	return any, err
}

type oldChunk struct {
	tables.Chunk
	series int64
}

func oldest(ctx context.Context, tx *sql.Tx, runID, before int64, most int) ([]oldChunk, error) {
	rows, err := tx.QueryContext(ctx, `SELECT id, series, first, last, n, moments FROM chunk
		WHERE series IN (SELECT id FROM series WHERE run = ? AND probe <> '' AND step = '') AND last < ? ORDER BY last LIMIT ?`, runID, before, most)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var old []oldChunk
	for rows.Next() {
		var o oldChunk
		if err := rows.Scan(&o.ID, &o.series, &o.First, &o.Last, &o.N, &o.Moments); err != nil {
			return nil, err
		}
		old = append(old, o)
	}
	return old, rows.Err()
}

// keepHours adds records to the hours of their series.
func keepHours(ctx context.Context, tx *sql.Tx, s *tables.Series, records []chunk.Record) error {
	sums := map[int64]*query.Sum{}
	column := query.Parsed(s, records)
	for i, at := range column.At {
		if column.Qualities != nil && !query.Measured(column.Qualities[i]) {
			continue
		}
		h := query.Hour(at)
		if sums[h] == nil {
			sums[h] = &query.Sum{}
		}
		value := column.Values[i] / s.Ratio() // hours can be corrected later, too
		sums[h].Add(1, value, value, value)
	}
	for h, sum := range sums {
		if _, err := tx.ExecContext(ctx, `INSERT INTO hourly (series, hour, n, lowest, mean, highest) VALUES (?, ?, ?, ?, ?, ?)
			ON CONFLICT DO UPDATE SET lowest = min(lowest, excluded.lowest), highest = max(highest, excluded.highest),
				mean = (mean * n + excluded.mean * excluded.n) / (n + excluded.n), n = n + excluded.n`,
			s.ID, h, sum.N, sum.Lowest, sum.Mean(), sum.Highest); err != nil {
			return err
		}
	}
	return nil
}
