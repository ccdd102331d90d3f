package archive

import (
	"context"
	"database/sql"
	"math"
	"time"

	"ohmkeep/internal/chunk"
)

const hour = int64(time.Hour)

// hours adds what is left of readings that were let go.
func hours(ctx context.Context, tx *sql.Tx, series []*Series, edges []int64, sums []Sum) error {
	for _, s := range series {
		rows, err := tx.QueryContext(ctx, "SELECT hour, n, lowest, mean, highest FROM hourly WHERE series = ? AND hour BETWEEN ? AND ?",
			s.ID, floor(edges[0]), edges[len(edges)-1]/hour)
		if err != nil {
			return err
		}
		for rows.Next() {
			var at int64
			var n int
			var lowest, mean, highest float64
			if err := rows.Scan(&at, &n, &lowest, &mean, &highest); err != nil {
				rows.Close()
				return err
			}
			if i := stretch(edges, at*hour); i >= 0 {
				low, high := lowest*s.ratio, highest*s.ratio
				sums[i].add(n, min(low, high), mean*s.ratio, max(low, high))
				sums[i].Hourly = true
			}
		}
		if err := rows.Err(); err != nil {
			return err
		}
	}
	return nil
}

// floor gives the hour of a moment.
func floor(at int64) int64 {
	if at < 0 && at != math.MinInt64 {
		at -= hour - 1
	}
	return at / hour
}

// LetGo lets the oldest chunks go: those that end before a moment, and of what
// is left the oldest until no more than so many bytes of blocks are. Their hours
// stay. It gives how many readings went, and does no more than most chunks.
func LetGo(ctx context.Context, tx *sql.Tx, before int64, most int) (readings, went int, err error) {
	old, err := oldest(ctx, tx, before, most)
	if err != nil {
		return 0, 0, err
	}
	series := map[int64]*Series{}
	var m chunk.Moments
	var v chunk.Values
	for _, o := range old {
		s := series[o.series]
		if s == nil {
			if s, err = one(ctx, tx, o.series); err != nil {
				return 0, 0, err
			}
			series[o.series] = s
		}
		switch err := o.Load(ctx, tx, &m, &v); {
		case Broken(err): // nothing is left to keep
		case err != nil:
			return 0, 0, err
		default:
			if err := keepHours(ctx, tx, s, chunk.AppendRecords(nil, &m, &v)); err != nil {
				return 0, 0, err
			}
		}
		if _, err := tx.ExecContext(ctx, "DELETE FROM chunk WHERE id = ?", o.ID); err != nil {
			return 0, 0, err
		}
		if _, err := tx.ExecContext(ctx, "DELETE FROM moments WHERE id = ?1 AND NOT EXISTS (SELECT 1 FROM chunk WHERE moments = ?1)",
			o.Moments); err != nil {
			return 0, 0, err
		}
		readings += o.N
	}
	return readings, len(old), nil
}

type oldChunk struct {
	Chunk
	series int64
}

func oldest(ctx context.Context, tx *sql.Tx, before int64, most int) ([]oldChunk, error) {
	rows, err := tx.QueryContext(ctx, "SELECT id, series, first, last, n, moments FROM chunk WHERE last < ? ORDER BY last LIMIT ?", before, most)
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
func keepHours(ctx context.Context, tx *sql.Tx, s *Series, records []chunk.Record) error {
	sums := map[int64]*Sum{}
	column := parsed(s, records)
	for i, at := range column.At {
		if column.Qualities != nil && !measured(column.Qualities[i]) {
			continue
		}
		h := floor(at)
		if sums[h] == nil {
			sums[h] = &Sum{}
		}
		value := column.Values[i] / s.ratio // hours can be corrected later, too
		sums[h].add(1, value, value, value)
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
