package store

import (
	"context"
	"database/sql"
	"time"

	"ohmkeep/internal/store/internal/query"
	"ohmkeep/internal/store/internal/tables"
)

// Bucket summarises a channel over a period.
type Bucket struct {
	From, To       time.Time // not before; before
	N              int       // number of measured values; 0: Min, Mean and Max are not set
	Min, Mean, Max float64   // SI; °C for temperatures
	Hourly         bool      // part of it is known only as hourly minimum, mean and maximum
}

// MinMeanMax summarises the selected samples, as one channel, in n periods of equal length
// from sel.Since to sel.Until, both of which must be set. The results are the exact ones of
// the single samples.
func (s *Store) MinMeanMax(ctx context.Context, sel Selection, n int) ([]Bucket, error) {
	buckets, edges := sel.Periods(n)
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

// Periods returns n periods of equal length from sel.Since to sel.Until, both of which must be set,
// and their n+1 edges in ns since 1970.
func (sel Selection) Periods(n int) (buckets []Bucket, edges []int64) {
	first, last := sel.Limits()
	edges = make([]int64, n+1)
	for i := range edges {
		edges[i] = first + int64(float64(last-first+1)*float64(i)/float64(n))
	}
	edges[n] = last + 1
	buckets = make([]Bucket, n)
	for i := range buckets {
		buckets[i].From, buckets[i].To = time.Unix(0, edges[i]).UTC(), time.Unix(0, edges[i+1]).UTC()
	}
	return buckets, edges
}
