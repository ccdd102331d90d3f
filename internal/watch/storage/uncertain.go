package storage

import (
	"context"
	"time"

	"ohmkeep/internal/store"
)

// MarkUncertain marks the dates of stored readings after a time as uncertain, and logs their number.
func (s *Store) MarkUncertain(ctx context.Context, after time.Time) error {
	return s.use(func(file *store.Store) error {
		runs, err := file.Runs(ctx)
		if err != nil && !store.Damaged(err) {
			return err
		}
		for _, r := range runs {
			n, err := file.MarkDatesUncertain(ctx, r.Name, after, s.o.Now())
			if err != nil {
				return err
			}
			if n > 0 {
				s.o.Log.Warn("stored readings have dates in the future, which are marked as uncertain; ohmkeep store redate moves them",
					"run", r.Name, "readings", n)
			}
		}
		return nil
	})
}
