package command

import (
	"context"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/recorder"
	"ohmkeep/internal/store"
)

// storing is the store as the recorder wants it.
type storing struct{ *store.Store }

func (s storing) Keep(ctx context.Context, b recorder.Batch) error {
	for from := 0; from < len(b.Readings); {
		to := from
		var list []reading.Reading
		for ; to < len(b.Readings) && b.Readings[to].Run == b.Readings[from].Run && b.Readings[to].Probe == b.Readings[from].Probe; to++ {
			if b.Readings[to].Quality == recorder.Good {
				list = append(list, b.Readings[to].Reading)
			}
		}
		if _, _, err := s.Append(ctx, b.Readings[from].Run, b.Readings[from].Probe, list); err != nil {
			return err
		}
		from = to
	}
	return nil
}
