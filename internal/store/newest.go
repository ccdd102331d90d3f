package store

import (
	"context"
	"database/sql"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/store/internal/query"
	"ohmkeep/internal/store/internal/tables"
)

// Last is the newest good reading that a probe gave of something.
type Last struct {
	Channel // of its last form and step
	Time    time.Time
	Value   float64 // SI; °C for temperatures
}

// Newest gives for each thing that probes of a run read, whatever the step, the newest
// reading against which nothing is known; that its date was certain is part of it.
// Things without one in the last million samples are left out. What is damaged is too.
func (s *Store) Newest(ctx context.Context, runName string) ([]Last, error) {
	var all []Last
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
		at := map[Channel]int{} // by what does not change with the form of a number
		for _, x := range probed {
			r, ok := found[x.ID]
			if !ok {
				continue
			}
			one := Last{Channel: *channel(runName, x), Time: time.Unix(0, r.At).UTC()}
			if x.Form != tables.Texts {
				one.Value = x.Value(r.Count)
			} else if one.Value, err = reading.Value(x.Quantity, r.Text, x.Unit); err != nil {
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
