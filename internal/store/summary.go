package store

import (
	"context"
	"database/sql"
	"time"

	"ohmkeep/internal/store/internal/query"
	"ohmkeep/internal/store/internal/tables"
)

// Bucket is what a channel did in a stretch of time.
type Bucket struct {
	From, To       time.Time // not before; before
	N              int       // measured values; 0 = there are none, and no numbers either
	Min, Mean, Max float64   // SI; °C for temperatures
	Hourly         bool      // some of it is left only as numbers of whole hours
}

// MinMeanMax sums up what is selected, as one channel, in n stretches of equal
// length from sel.Since to sel.Until, both of which are given. The numbers are
// exact, as of the samples one by one.
func (s *Store) MinMeanMax(ctx context.Context, sel Selection, n int) ([]Bucket, error) {
	first, last := sel.limits()
	edges := make([]int64, n+1)
	for i := range edges {
		edges[i] = first + int64(float64(last-first+1)*float64(i)/float64(n))
	}
	edges[n] = last + 1
	buckets := make([]Bucket, n)
	for i := range buckets {
		buckets[i].From, buckets[i].To = time.Unix(0, edges[i]).UTC(), time.Unix(0, edges[i+1]).UTC()
	}
	var damage tables.Damage
	err := s.db.View(ctx, func(tx *sql.Tx) error {
		series, err := sel.series(ctx, tx)
		if err != nil {
			return err
		}
		var sums []query.Sum
		if sums, damage, err = query.Sums(ctx, tx, series, edges); err != nil {
			return err
		}
		for i, sum := range sums {
			b := &buckets[i]
			b.N, b.Min, b.Mean, b.Max, b.Hourly = sum.N, sum.Lowest, sum.Mean(), sum.Highest, sum.Hourly
		}
		return nil
	})
	if err == nil && damage.Any() {
		err = s.damaged(damage)
	}
	return buckets, err
}
