package query

import (
	"context"
	"database/sql"
	"slices"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/store/internal/chunk"
	"ohmkeep/internal/store/internal/tables"
)

// Column is a part of a series in columns of equal length.
type Column struct {
	Series    *tables.Series
	At        []int64   // ns since 1970 in UTC
	Values    []float64 // SI; °C for temperatures
	Qualities []int64   // nil where all are good
}

// Columns calls do for each part of each series between two moments, until do returns false.
// Damaged chunks are left out and reported. Texts that are not numbers are left out.
func Columns(ctx context.Context, tx *sql.Tx, series []*tables.Series, first, last int64, do func(Column) bool) (tables.Damage, error) {
	var damage tables.Damage
	tails, err := tailOf(ctx, tx, series, &damage)
	if err != nil {
		return damage, err
	}
	var m chunk.Moments
	var v chunk.Values
	var values []float64
	for _, s := range series {
		there, err := tables.Readable(ctx, tx, s, first, last, &damage)
		if err != nil {
			return damage, err
		}
		more := true
		if err := tables.OpenAll(ctx, tx, there, &damage, func(i int, moments, block []byte) (bool, error) {
			// Zones, clocks and boots are not needed here.
			if err := there[i].DecodeUntil(moments, block, &m, &v, last); err != nil {
				return false, err
			}
			from, to := part(&there[i], m.At, first, last)
			switch {
			case from == to:
			case v.Texts != nil:
				more = do(Parsed(s, chunk.AppendRecords(nil, &m, &v)[from:to]))
			default:
				values = s.Values(values[:0], v.Counts[from:to])
				column := Column{Series: s, At: m.At[from:to], Values: values}
				if v.Qualities != nil {
					column.Qualities = v.Qualities[from:to]
				}
				more = do(column)
			}
			return more, nil
		}); err != nil || !more {
			return damage, err
		}
		if rest := cut(tails[s.ID], first, last); len(rest) > 0 && !do(Parsed(s, rest)) {
			return damage, nil
		}
	}
	return damage, nil
}

// part returns the range of a chunk's moments between two moments.
func part(c *tables.Chunk, at []int64, first, last int64) (from, to int) {
	from, to = 0, len(at)
	if c.First < first {
		from, _ = slices.BinarySearch(at, first)
	}
	if c.Last > last {
		to, _ = slices.BinarySearch(at, last+1)
	}
	return from, to
}

// Parsed returns records as a column. Texts that are not numbers are left out.
func Parsed(s *tables.Series, records []chunk.Record) Column {
	c := Column{Series: s}
	any := false
	for _, r := range records {
		value := 0.0
		if s.Form == tables.Texts {
			var err error
			if value, err = reading.Value(s.Quantity, r.Text, s.Unit); err != nil {
				continue
			}
		} else {
			value = s.Value(r.Count)
		}
		c.At, c.Values, c.Qualities = append(c.At, r.At), append(c.Values, value), append(c.Qualities, int64(r.Quality))
		any = any || r.Quality != 0
	}
	if !any {
		c.Qualities = nil
	}
	return c
}
