package store

import (
	"context"
	"database/sql"
	"iter"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/store/internal/chunk"
	"ohmkeep/internal/store/internal/query"
	"ohmkeep/internal/store/internal/tables"
)

// Block holds consecutive samples of one channel in columns of equal length. It is valid
// until the next one is read.
type Block struct {
	Channel   *Channel
	Times     []int64           // ns since 1970 in UTC, not decreasing
	Values    []float64         // SI; °C for temperatures; NaN-free, but see Qualities
	Qualities []reading.Quality // nil where all are good
}

// Blocks returns the selected samples in blocks, channel by channel. The samples of a channel
// are in the order of time, except in the last commits if the wall clock was set back.
// Samples whose text is not a number are left out.
func (s *Store) Blocks(ctx context.Context, sel Selection) iter.Seq2[Block, error] {
	return func(yield func(Block, error) bool) {
		var damage tables.Damage
		err := s.db.View(ctx, func(tx *sql.Tx) error {
			series, err := sel.series(ctx, tx)
			if err != nil {
				return err
			}
			first, last := sel.Limits()
			channels := map[*tables.Series]*Channel{}
			var qualities []reading.Quality
			damage, err = query.Columns(ctx, tx, series, first, last, func(c query.Column) bool {
				if channels[c.Series] == nil {
					channels[c.Series] = channel(sel.Run, c.Series)
				}
				b := Block{Channel: channels[c.Series], Times: c.At, Values: c.Values}
				if c.Qualities != nil {
					qualities = qualities[:0]
					for _, q := range c.Qualities {
						qualities = append(qualities, reading.Quality(q))
					}
					b.Qualities = qualities
				}
				return yield(b, nil)
			})
			return err
		})
		if err == nil && damage.Any() {
			err = s.damaged(damage)
		}
		if err != nil {
			yield(Block{}, err)
		}
	}
}

// Stored is a reading with all its stored fields.
type Stored struct {
	reading.Recorded
	Boot  int    // number of the machine's start, see Boots; 0 = not known
	Count int64  // the number in counts of its form, or the register's word
	Form  string // a Form as a string; "text" = Text is all there is
}

// Samples returns the selected readings with all their stored fields, in the order of time.
// It includes samples that are not measured values.
func (s *Store) Samples(ctx context.Context, sel Selection) iter.Seq2[Stored, error] {
	return func(yield func(Stored, error) bool) {
		var zones zones
		err := s.each(ctx, sel, func(of *tables.Series, r *chunk.Record) bool {
			x, err := recorded(sel.Run, of, r, zones.time(r.At, r.Zone))
			return yield(Stored{Recorded: x, Boot: int(r.Boot), Count: r.Count, Form: of.Form}, err) && err == nil
		})
		if err != nil {
			yield(Stored{}, err)
		}
	}
}
