package store

import (
	"cmp"
	"context"
	"database/sql"
	"iter"
	"slices"

	"ohmkeep/internal/archive"
	"ohmkeep/internal/chunk"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/recall"
)

// Lines gives the readings of a run line by line: those that have quantity, places,
// step, meter and unit in common, which is the order of the lines too, each line in
// the order of time. A line may be gone through several times before the next one is
// asked for. All are of the state in which the store was when the loop began. Where a
// part of the store is damaged, that error, for which Damaged is true, comes after
// all lines.
func (s *Store) Lines(ctx context.Context, runName string, f Filter) iter.Seq2[iter.Seq2[reading.Reading, error], error] {
	sel := f.selection(runName)
	return func(yield func(iter.Seq2[reading.Reading, error], error) bool) {
		var damage archive.Damage
		ended := false
		err := s.db.View(ctx, func(tx *sql.Tx) error {
			all, err := sel.series(ctx, tx)
			if err != nil {
				return err
			}
			slices.SortStableFunc(all, byLine)
			for len(all) > 0 {
				n := 1
				for n < len(all) && byLine(all[0], all[n]) == 0 {
					n++
				}
				if ended = !yield(s.line(ctx, tx, all[:n], sel, &damage), nil); ended {
					return nil
				}
				all = all[n:]
			}
			return nil
		})
		if err == nil && damage.Any() {
			err = s.damaged(damage)
		}
		if err != nil && !ended {
			yield(nil, err)
		}
	}
}

// line gives the readings of series that are one line; what is damaged is told once.
func (s *Store) line(ctx context.Context, tx *sql.Tx, series []*archive.Series, sel Selection, damage *archive.Damage) iter.Seq2[reading.Reading, error] {
	first, last := sel.limits()
	told := false
	return func(yield func(reading.Reading, error) bool) {
		var zones zones
		d, err := recall.Each(ctx, tx, series, first, last, func(of *archive.Series, r *chunk.Record) bool { return s.give(&zones, of, r, yield) })
		if !told {
			told = true
			damage.Add(d)
		}
		if err != nil {
			yield(reading.Reading{}, err)
		}
	}
}

// byLine orders series by what the readings of a line have in common.
func byLine(a, b *archive.Series) int {
	return cmp.Or(cmp.Compare(a.Quantity, b.Quantity), cmp.Compare(a.From, b.From), cmp.Compare(a.To, b.To),
		cmp.Compare(a.Step, b.Step), cmp.Compare(a.Meter, b.Meter), cmp.Compare(a.Unit, b.Unit))
}
