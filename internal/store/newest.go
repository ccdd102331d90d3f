package store

import (
	"context"
	"database/sql"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/store/internal/query"
	"ohmkeep/internal/store/internal/tables"
)

// Newest returns for each channel that probes of a run read, in any step, the newest good
// reading with a certain date. Channels without one in the last million samples are left
// out, and so are damaged chunks.
func (s *Store) Newest(ctx context.Context, runName string) ([]reading.Recorded, error) {
	var all []reading.Recorded
	err := s.db.View(ctx, func(tx *sql.Tx) error {
		series, err := Selection{Run: runName}.series(ctx, tx)
		if err != nil && !tables.Broken(err) {
			return err
		}
		var probed []*tables.Series
		for _, x := range series {
			if x.Probe != "" {
				probed = append(probed, x)
			}
		}
		found, err := query.Newest(ctx, tx, probed)
		if err != nil {
			return err
		}
		at := map[Channel]int{} // by channel, whatever the form of its numbers
		for _, x := range probed {
			r, ok := found[x.ID]
			if !ok {
				continue
			}
			one, err := recorded(runName, x, &r, time.Unix(0, r.At).UTC())
			if err != nil {
				continue
			}
			key := Channel{Probe: x.Probe, Quantity: x.Quantity, From: x.From, To: x.To}
			i, known := at[key]
			if !known {
				at[key] = len(all)
				all = append(all, one)
			} else if one.Time.After(all[i].Time) {
				all[i] = one
			}
		}
		return nil
	})
	return all, err
}
