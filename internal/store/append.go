package store

import (
	"context"
	"database/sql"
	"fmt"
	"slices"

	"ohmkeep/internal/archive"
	"ohmkeep/internal/chunk"
	"ohmkeep/internal/fault"
	"ohmkeep/internal/reading"
)

// Append stores readings of a run; source says where they came from (a file, a
// probe). All are stored or none. A reading that is there already, alike in
// moment, step, quantity, places, number as written, unit and meter, is not
// stored again but counted as a duplicate, so that a file may be imported twice.
// When Append returns without an error, the readings are safe on disk.
func (s *Store) Append(ctx context.Context, runName, source string, readings []reading.Reading) (added, duplicates int, err error) {
	if s.db.Write == nil {
		return 0, 0, fault.Fault{File: s.db.Path, Text: "the store was opened for reading only"}
	}
	for i, x := range readings {
		if err := sound(x); err != nil {
			return 0, 0, fmt.Errorf("reading %d of %d: %w", i+1, len(readings), err)
		}
	}
	if len(readings) == 0 {
		return 0, 0, nil
	}
	err = s.db.Update(ctx, func(tx *sql.Tx) error {
		runID, err := archive.EnsureRun(ctx, tx, runName)
		if err == nil {
			err = archive.EnsureSource(ctx, tx, runID, source)
		}
		if err != nil {
			return err
		}
		items, keys, err := file(ctx, tx, runID, readings)
		if err != nil {
			return err
		}
		if items, err = archive.Unknown(ctx, tx, items, keys); err != nil {
			return err
		}
		added = len(items)
		return archive.Insert(ctx, tx, archive.Sections(items))
	})
	if err != nil {
		return 0, 0, err
	}
	return added, len(readings) - added, nil
}

// sound checks that a reading can be given back as it is.
func sound(x reading.Reading) error {
	if !reading.Storable(x.Time) {
		return fault.Fault{Key: "time", Text: "outside the years 1970 to 2262"}
	}
	_, err := reading.Value(x.Quantity, x.Text, x.Unit)
	return err
}

// file sorts readings by their time and finds their series; keys are those of
// the series, by number.
func file(ctx context.Context, tx *sql.Tx, runID int64, readings []reading.Reading) (items []archive.Item, keys map[int64]archive.Key, err error) {
	if byTime := func(a, b reading.Reading) int { return a.Time.Compare(b.Time) }; !slices.IsSortedFunc(readings, byTime) {
		readings = slices.Clone(readings)
		slices.SortStableFunc(readings, byTime)
	}
	to := archive.NewFiler(ctx, tx)
	items = make([]archive.Item, len(readings))
	for i := range readings {
		if i%4096 == 0 && ctx.Err() != nil {
			return nil, nil, ctx.Err()
		}
		x := &readings[i]
		_, zone := x.Time.Zone()
		key := archive.Key{Run: runID, Step: x.Step, Quantity: x.Quantity, From: x.From, To: x.To, Unit: x.Unit, Meter: x.Meter}
		if items[i], err = to.File(key, chunk.Record{At: x.Time.UnixNano(), Zone: int32(zone)}, x.Text); err != nil {
			return nil, nil, err
		}
	}
	return items, to.Keys(), nil
}
