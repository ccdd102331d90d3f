package tables

import (
	"context"
	"database/sql"
	"errors"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/store/internal/chunk"
)

// Written is a reading of a series as it was written.
type Written struct {
	At   int64 // ns since 1970 in UTC
	Text string
}

// Requalify sets or clears a mark of the quality of the wanted readings of a series between two
// moments. They must be in chunks. It returns how many readings it changed.
func Requalify(ctx context.Context, tx *sql.Tx, of *Series, first, last int64, wanted func(Written) bool, mark reading.Quality, set bool) (changed int, err error) {
	chunks, err := Chunks(ctx, tx, of, first, last)
	if err != nil || len(chunks) == 0 {
		return 0, err
	}
	in, err := NewInserter(ctx, tx)
	if err != nil {
		return 0, err
	}
	for i := range chunks {
		n, err := in.requalify(ctx, of, &chunks[i], wanted, mark, set)
		if changed += n; err != nil {
			return changed, errors.Join(err, in.Close(ctx))
		}
	}
	return changed, in.Close(ctx)
}

func (in *Inserter) requalify(ctx context.Context, of *Series, c *Chunk, wanted func(Written) bool, mark reading.Quality, set bool) (changed int, err error) {
	if err := c.Load(ctx, in.tx, &in.m, &in.v); err != nil {
		return 0, err
	}
	in.records = chunk.AppendRecords(in.records[:0], &in.m, &in.v)
	for i := range in.records {
		r := &in.records[i]
		text := r.Text
		if of.Form != Texts {
			text = of.Text(r.Count)
		}
		if r.Quality&mark != 0 == set || !wanted(Written{r.At, text}) {
			continue
		}
		r.Quality ^= mark
		changed++
	}
	if changed == 0 {
		return 0, nil
	}
	in.left[c.Moments] = true
	return changed, in.one(ctx, chunk.Section{Series: of.ID, Identity: of.Identity, Texts: of.Form == Texts}, in.records, c)
}
