package storage

import (
	"context"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/store"
	"ohmkeep/internal/watch/machine"
)

// Newest returns the newest good reading of every channel, and as floor the newest certain date.
// Damage of the store is not an error.
func (s *Store) Newest(ctx context.Context) (floor time.Time, newest []reading.Recorded, err error) {
	defer s.releaseMemory()
	err = s.use(func(file *store.Store) error {
		floor, newest, err = newestOf(ctx, file)
		return err
	})
	return floor, newest, err
}

func newestOf(ctx context.Context, file *store.Store) (floor time.Time, newest []reading.Recorded, err error) {
	floor = machine.Earliest
	runs, err := file.Runs(ctx)
	if err != nil && !store.Damaged(err) {
		return floor, nil, err
	}
	for _, r := range runs {
		found, err := file.Newest(ctx, r.Name)
		if err != nil && !store.Damaged(err) {
			return floor, nil, err
		}
		newest = append(newest, found...)
		for _, x := range found {
			if x.Time.After(floor) {
				floor = x.Time
			}
		}
	}
	return floor, newest, nil
}
