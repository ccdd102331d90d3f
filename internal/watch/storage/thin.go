package storage

import (
	"context"
	"time"

	"ohmkeep/internal/store"
)

// thinInterval is the time between two deletions of old readings, each of which adds a mark.
const thinInterval = 28 * 24 * time.Hour

// thin deletes the readings that are older than the retention time, and logs it.
func (s *Store) thin(ctx context.Context, file *store.Store, runName string) {
	if s.o.Keep == 0 {
		return
	}
	now := s.o.Now()
	marks, err := file.Marks(ctx, runName, now.Add(-thinInterval), time.Time{})
	if err != nil && !store.Damaged(err) {
		s.o.Log.Warn("old readings are not let go", "why", err)
		return
	}
	for _, m := range marks {
		if m.Kind == store.MarkThinned {
			return
		}
	}
	gone, err := file.Thin(ctx, runName, now.Add(-s.o.Keep), now)
	if gone.Readings > 0 {
		s.o.Log.Info("old readings were let go; minimum, mean and maximum of each hour are kept", "readings", gone.Readings,
			"from", gone.First, "to", gone.Last, "kept for", s.o.Keep)
	}
	if err != nil {
		s.o.Log.Warn("old readings are not all let go", "why", err)
	}
}
