package query

import (
	"context"
	"database/sql"
	"slices"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/store/internal/chunk"
	"ohmkeep/internal/store/internal/tables"
)

// Sum summarises the measured values of a period.
type Sum struct {
	N               int
	Lowest, Highest float64 // SI
	Hourly          bool    // part of it comes from hours whose readings were deleted

	total float64 // of the values
}

// Mean returns the mean value; 0 without values.
func (s *Sum) Mean() float64 {
	if s.N == 0 {
		return 0
	}
	return s.total / float64(s.N)
}

// Add adds n values by their extremes and mean.
func (s *Sum) Add(n int, lowest, mean, highest float64) {
	if s.N == 0 {
		s.Lowest, s.Highest = lowest, highest
	}
	s.Lowest, s.Highest = min(s.Lowest, lowest), max(s.Highest, highest)
	s.N += n
	s.total += mean * float64(n)
}

// counts is a Sum of the counts of a series, which are exact.
type counts struct {
	n                    int
	lowest, highest, sum int64
}

func (c *counts) add(other counts) {
	if other.n == 0 {
		return
	}
	if c.n == 0 {
		c.lowest, c.highest = other.lowest, other.highest
	}
	c.lowest, c.highest = min(c.lowest, other.lowest), max(c.highest, other.highest)
	c.n, c.sum = c.n+other.n, c.sum+other.sum
}

// Sums returns the sums of series between consecutive edges, which are in rising order: sum i is of
// the moments from edge i (included) to edge i+1 (excluded). Only chunks that contain an edge are
// opened. The sum of the counts of a period must fit into 63 bits, as that of half a million
// readings at the limit of counts does.
func Sums(ctx context.Context, tx *sql.Tx, series []*tables.Series, edges []int64) ([]Sum, tables.Damage, error) {
	var damage tables.Damage
	sums := make([]Sum, len(edges)-1)
	tails, err := tailOf(ctx, tx, series, &damage)
	if err != nil {
		return nil, damage, err
	}
	s := summation{tx: tx, edges: edges, counted: make([]counts, len(sums)), sums: sums, damage: &damage}
	for _, one := range series {
		if err := s.series(ctx, one, tails[one.ID]); err != nil {
			return nil, damage, err
		}
	}
	return sums, damage, hours(ctx, tx, series, edges, sums)
}

type summation struct {
	tx      *sql.Tx
	edges   []int64
	counted []counts // of the present series
	sums    []Sum
	damage  *tables.Damage
	m       chunk.Moments
	v       chunk.Values
}

func (s *summation) series(ctx context.Context, of *tables.Series, tail []chunk.Record) error {
	last := len(s.edges) - 1
	there, err := tables.Readable(ctx, s.tx, of, s.edges[0], s.edges[last]-1, s.damage)
	if err != nil {
		return err
	}
	clear(s.counted)
	at := 0                     // index of the period
	var straddle []tables.Chunk // chunks that contain an edge
	for i := range there {
		c := &there[i]
		for at < last && s.edges[at+1] <= c.First {
			at++
		}
		if c.Counted && s.edges[at] <= c.First && c.Last < s.edges[at+1] {
			s.counted[at].add(counts{c.Measured, c.Lowest, c.Highest, c.Sum})
			continue
		}
		straddle = append(straddle, *c)
	}
	if err := tables.OpenAll(ctx, s.tx, straddle, s.damage, func(i int, moments, values []byte) (bool, error) {
		c := &straddle[i]
		edge, found := slices.BinarySearch(s.edges, c.Last)
		if !found {
			edge-- // the last edge in the chunk, or the one before it
		}
		err := c.DecodeUntil(moments, values, &s.m, &s.v, s.edges[max(edge, 0)])
		if err == nil {
			s.opened(of)
		}
		return true, err
	}); err != nil {
		return err
	}
	if of.Form == tables.Texts {
		s.values(Parsed(of, tail))
	} else {
		for _, r := range tail {
			if r.Quality.Measured() {
				s.record(r.At, r.Count)
			}
		}
	}
	for i, c := range s.counted {
		if c.n > 0 {
			low, high := of.Value(c.lowest), of.Value(c.highest)
			s.sums[i].Add(c.n, min(low, high), of.Mean(c.sum, c.n), max(low, high)) // a scale may be negative
		}
	}
	return nil
}

// opened adds the loaded chunk to the sums.
func (s *summation) opened(of *tables.Series) {
	if s.v.Texts != nil {
		s.values(Parsed(of, chunk.AppendRecords(nil, &s.m, &s.v)))
		return
	}
	at, found := slices.BinarySearch(s.edges, s.m.At[0])
	if !found && at > 0 {
		at--
	}
	from, _ := slices.BinarySearch(s.m.At, s.edges[at])
	for ; from < len(s.m.At) && at+1 < len(s.edges); at++ {
		n, _ := slices.BinarySearch(s.m.At[from:], s.edges[at+1])
		s.counted[at].add(s.part(from, from+n))
		from += n
	}
}

// part returns the sum of a part of the loaded chunk.
func (s *summation) part(from, to int) (sum counts) {
	if s.v.Qualities == nil && from < to {
		sum = counts{to - from, s.v.Counts[from], s.v.Counts[from], 0}
		for _, x := range s.v.Counts[from:to] {
			sum.lowest, sum.highest, sum.sum = min(sum.lowest, x), max(sum.highest, x), sum.sum+x
		}
		return sum
	}
	for i := from; i < to; i++ {
		if x := s.v.Counts[i]; s.v.Quality(i).Measured() {
			sum.add(counts{1, x, x, x})
		}
	}
	return sum
}

func (s *summation) record(at, count int64) {
	if i := periodOf(s.edges, at); i >= 0 {
		s.counted[i].add(counts{1, count, count, count})
	}
}

func (s *summation) values(c Column) {
	for i, at := range c.At {
		if c.Qualities != nil && !Measured(c.Qualities[i]) {
			continue
		}
		if n := periodOf(s.edges, at); n >= 0 {
			s.sums[n].Add(1, c.Values[i], c.Values[i], c.Values[i])
		}
	}
}

// periodOf returns the index of the period that contains a moment, -1 for none.
func periodOf(edges []int64, at int64) int {
	i, found := slices.BinarySearch(edges, at)
	if !found {
		i--
	}
	if i == len(edges)-1 {
		return -1
	}
	return i
}

// Measured reports whether a quality is that of a measured value.
func Measured(quality int64) bool { return reading.Quality(quality).Measured() }
