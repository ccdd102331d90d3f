package query

import (
	"context"
	"database/sql"
	"math"
	"time"

	"ohmkeep/internal/store/internal/tables"
)

const hour = int64(time.Hour)

// hours adds the hourly sums of deleted readings.
func hours(ctx context.Context, tx *sql.Tx, series []*tables.Series, edges []int64, sums []Sum) error {
	for _, s := range series {
		rows, err := tx.QueryContext(ctx, "SELECT hour, n, lowest, mean, highest FROM hourly WHERE series = ? AND hour BETWEEN ? AND ?",
			s.ID, Hour(edges[0]), edges[len(edges)-1]/hour)
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
			if i := periodOf(edges, at*hour); i >= 0 {
				low, high := lowest*s.Ratio(), highest*s.Ratio()
				sums[i].Add(n, min(low, high), mean*s.Ratio(), max(low, high))
				sums[i].Hourly = true
			}
		}
		if err := rows.Err(); err != nil {
			return err
		}
	}
	return nil
}

// Hour returns the hour of a moment, since 1970 in UTC.
func Hour(at int64) int64 {
	if at < 0 && at != math.MinInt64 {
		at -= hour - 1
	}
	return at / hour
}
