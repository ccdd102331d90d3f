package command

import (
	"context"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/recorder"
	"ohmkeep/internal/store"
)

// storing is the store as the recorder wants it.
type storing struct{ *store.Store }

// Keep stores the readings of each probe together. Where it does not get to the
// end the store knows, when the batch is offered again, what it holds already.
func (s storing) Keep(ctx context.Context, b recorder.Batch) error {
	type source struct{ run, probe string }
	var order []source
	of := map[source][]reading.Reading{}
	for _, x := range b.Readings {
		if x.Quality != recorder.Good {
			continue
		}
		from := source{x.Run, x.Probe}
		if of[from] == nil {
			order = append(order, from)
		}
		of[from] = append(of[from], x.Reading)
	}
	for _, from := range order {
		if _, _, err := s.Append(ctx, from.run, from.probe, of[from]); err != nil {
			return err
		}
	}
	return nil
}
