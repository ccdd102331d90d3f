package tables

import (
	"context"
	"database/sql"
	"errors"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/store/internal/chunk"
)

// Redate moves records of a series in time, with their zones and texts. They are in chunks,
// from a first to a last moment, and their date is uncertain; it is certain afterwards. by
// returns by how many nanoseconds a record moves; 0 = it stays as it is.
func Redate(ctx context.Context, tx *sql.Tx, of *Series, first, last int64, by func(*chunk.Record) int64) (moved int, err error) {
	in, err := NewInserter(ctx, tx)
	if err != nil {
		return 0, err
	}
	for {
		n, err := in.redate(ctx, of, first, last, by)
		moved += n
		if err != nil || n == 0 { // a moved record may have displaced others into another chunk
			return moved, errors.Join(err, in.Close(ctx))
		}
	}
}

// redate is one pass of Redate over the chunks that there are now.
func (in *Inserter) redate(ctx context.Context, of *Series, first, last int64, by func(*chunk.Record) int64) (moved int, err error) {
	list, err := Chunks(ctx, in.tx, of, first, last)
	if err != nil {
		return 0, err
	}
	s := chunk.Section{Series: of.ID, Identity: of.Identity, Texts: of.Form == Texts}
	for _, before := range list {
		now, err := chunks(ctx, in.tx, of.Identity, "chunk", "id = ?", before.ID) // moved records may be in it
		if err != nil {
			return moved, err
		}
		c := &now[0]
		if err := c.Load(ctx, in.tx, &in.m, &in.v); err != nil {
			return moved, err
		}
		var stay, move []chunk.Record
		for _, r := range chunk.AppendRecords(in.records[:0], &in.m, &in.v) {
			shift := int64(0)
			if r.At >= first && r.At <= last && r.Quality&reading.ClockUncertain != 0 {
				shift = by(&r)
			}
			if shift == 0 {
				stay = append(stay, r)
				continue
			}
			r.At += shift
			if r.Clock != 0 {
				r.Clock += shift
			}
			r.Quality &^= reading.ClockUncertain
			move = append(move, r)
		}
		if len(move) == 0 {
			continue
		}
		in.left[c.Moments] = true
		if len(stay) > 0 {
			err = in.one(ctx, s, stay, c)
		} else {
			in.more[s.Series] -= c.N
			_, err = in.tx.ExecContext(ctx, "DELETE FROM chunk WHERE id = ?", c.ID)
		}
		if err != nil {
			return moved, err
		}
		SortByTime(move)
		s.Records = move
		if err := in.section(ctx, s); err != nil {
			return moved, err
		}
		moved += len(move)
	}
	return moved, nil
}
