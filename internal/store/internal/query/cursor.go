package query

import (
	"cmp"
	"container/heap"
	"context"
	"database/sql"
	"slices"

	"ohmkeep/internal/store/internal/chunk"
	"ohmkeep/internal/store/internal/tables"
)

// Each calls do with every record of some series between two moments, in order of time, until do
// returns false. Damaged chunks are left out and reported.
func Each(ctx context.Context, tx *sql.Tx, series []*tables.Series, first, last int64, do func(*tables.Series, *chunk.Record) bool) (tables.Damage, error) {
	var damage tables.Damage
	load, err := tables.NewLoader(ctx, tx)
	if err != nil {
		return damage, err
	}
	defer load.Close()
	tails, err := tailOf(ctx, tx, series, &damage)
	if err != nil {
		return damage, err
	}
	var line cursors
	for _, s := range series {
		c := &cursor{series: s, first: first, last: last, tail: tails[s.ID]}
		if c.chunks, err = tables.Readable(ctx, tx, s, first, last, &damage); err != nil {
			return damage, err
		}
		// If the clock was set back, the tail overlaps the chunks in time and is read with them.
		if n := len(c.chunks); n > 0 && len(c.tail) > 0 && c.tail[0].At < c.chunks[n-1].Last {
			beside := &cursor{series: s, first: first, last: last, tail: c.tail}
			c.tail = nil
			if there, err := beside.next(ctx, load, &damage); err != nil {
				return damage, err
			} else if there {
				line = append(line, beside)
			}
		}
		there, err := c.next(ctx, load, &damage)
		if err != nil {
			return damage, err
		}
		if there {
			line = append(line, c)
		}
	}
	heap.Init(&line)
	for n := 0; len(line) > 0; n++ {
		if n&127 == 0 && ctx.Err() != nil {
			return damage, ctx.Err()
		}
		c := line[0]
		if !do(c.series, &c.records[0]) {
			return damage, nil
		}
		c.records = c.records[1:]
		there := len(c.records) > 0
		if !there {
			if there, err = c.next(ctx, load, &damage); err != nil {
				return damage, err
			}
		}
		if there {
			heap.Fix(&line, 0)
		} else {
			heap.Pop(&line)
		}
	}
	return damage, nil
}

// tailOf returns the tail of some series by their number.
func tailOf(ctx context.Context, tx *sql.Tx, series []*tables.Series, damage *tables.Damage) (map[int64][]chunk.Record, error) {
	wanted := make(map[int64]bool, len(series))
	for _, s := range series {
		wanted[s.ID] = true
	}
	rest, err := tables.Tail(ctx, tx, func(id int64) bool { return wanted[id] })
	if tables.Broken(err) {
		rest.Damaged, err = append(rest.Damaged, 0), nil
	}
	damage.Commits += len(rest.Damaged)
	tails := make(map[int64][]chunk.Record, len(rest.Sections))
	for _, s := range rest.Sections {
		tails[s.Series] = s.Records
	}
	return tails, err
}

// cursor iterates over the records of a series.
type cursor struct {
	series      *tables.Series
	first, last int64
	chunks      []tables.Chunk // not loaded yet
	tail        []chunk.Record
	records     []chunk.Record // not passed on yet
	memory      []chunk.Record
	m           chunk.Moments
	v           chunk.Values
}

// next loads the next chunk, or finally the tail; there is false at the end.
func (c *cursor) next(ctx context.Context, load *tables.Loader, damage *tables.Damage) (there bool, err error) {
	for len(c.chunks) > 0 {
		of := c.chunks[0]
		c.chunks = c.chunks[1:]
		switch err := load.Load(ctx, &of, &c.m, &c.v); {
		case tables.Broken(err):
			damage.Lost(of)
			continue
		case err != nil:
			return false, err
		}
		c.memory = chunk.AppendRecords(c.memory[:0], &c.m, &c.v)
		if c.records = cut(c.memory, c.first, c.last); len(c.records) > 0 {
			return true, nil
		}
	}
	c.records, c.tail = cut(c.tail, c.first, c.last), nil
	return len(c.records) > 0, nil
}

// cut returns the records between two moments.
func cut(records []chunk.Record, first, last int64) []chunk.Record {
	from, _ := slices.BinarySearchFunc(records, first, func(r chunk.Record, at int64) int { return cmp.Compare(r.At, at) })
	records = records[from:]
	to, _ := slices.BinarySearchFunc(records, last, func(r chunk.Record, at int64) int {
		if r.At <= at {
			return -1
		}
		return 1
	})
	return records[:to]
}

// cursors is a heap ordered by the time of the next record.
type cursors []*cursor

func (h cursors) Len() int { return len(h) }
func (h cursors) Less(i, j int) bool {
	a, b := &h[i].records[0], &h[j].records[0]
	switch {
	case a.At != b.At:
		return a.At < b.At
	case a.Rank != b.Rank:
		return a.Rank < b.Rank
	}
	return h[i].series.ID < h[j].series.ID
}
func (h cursors) Swap(i, j int) { h[i], h[j] = h[j], h[i] }
func (h *cursors) Push(x any)   { *h = append(*h, x.(*cursor)) }
func (h *cursors) Pop() any {
	last := (*h)[len(*h)-1]
	*h = (*h)[:len(*h)-1]
	return last
}
