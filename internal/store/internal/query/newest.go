package query

import (
	"context"
	"database/sql"

	"ohmkeep/internal/store/internal/chunk"
	"ohmkeep/internal/store/internal/tables"
)

// maxChunksSearched is the number of chunks of a series that are searched for its newest good record: a
// million records and more.
const maxChunksSearched = 256

// Newest returns the newest good record of each series. A series without one among its
// newest chunks is left out, and so are damaged chunks.
func Newest(ctx context.Context, tx *sql.Tx, series []*tables.Series) (map[int64]chunk.Record, error) {
	tails, err := tailOf(ctx, tx, series, new(tables.Damage))
	if err != nil {
		return nil, err
	}
	found := map[int64]chunk.Record{}
	for _, s := range series {
		best, there := newest(tails[s.ID])
		if c, ok, err := newestInChunks(ctx, tx, s, best.At); err != nil {
			return nil, err
		} else if ok {
			best, there = c, true
		}
		if there {
			found[s.ID] = best
		}
	}
	return found, nil
}

// newestInChunks searches for a good record after a moment, from the newest chunk backwards.
func newestInChunks(ctx context.Context, tx *sql.Tx, of *tables.Series, after int64) (chunk.Record, bool, error) {
	var m chunk.Moments
	var v chunk.Values
	before := int64(tables.End)
	for range maxChunksSearched {
		c, ok, err := tables.NewestBefore(ctx, tx, of, before)
		if err != nil || !ok || c.Last <= after {
			return chunk.Record{}, false, err
		}
		before = c.First
		if c.Measured == 0 {
			continue
		}
		switch err := c.Load(ctx, tx, &m, &v); {
		case tables.Broken(err):
			continue
		case err != nil:
			return chunk.Record{}, false, err
		}
		if r, ok := newest(chunk.AppendRecords(nil, &m, &v)); ok {
			return r, r.At > after, nil
		}
	}
	return chunk.Record{}, false, nil
}

// newest returns the last good one of records in order of time.
func newest(records []chunk.Record) (chunk.Record, bool) {
	for i := len(records) - 1; i >= 0; i-- {
		if records[i].Quality == 0 {
			return records[i], true
		}
	}
	return chunk.Record{}, false
}
