package recovery

import (
	"cmp"
	"context"
	"math"
	"slices"

	"ohmkeep/internal/store/internal/chunk"
	"ohmkeep/internal/store/internal/pages"
	"ohmkeep/internal/store/internal/tables"
)

// salvage holds the undamaged rows of an inventory whose series is known.
type salvage struct {
	*inventory
	names   map[int64]named // by the number of a series
	whole   map[int64]*readings
	orphans map[int64]int64 // readings in chunks of series without a name
	Count
}

// named is a series and the name that was found for it.
type named struct {
	key      tables.Key
	run      string
	identity uint64
}

// readings are those of a series.
type readings struct {
	chunks []wholeChunk    // in order of time, not overlapping
	more   []chunk.Section // of the tail, and of deleted versions of chunks
	held   int64           // number of readings in chunks
}

type wholeChunk struct {
	chunkRow
	moments pages.Place
}

// Count is how many readings a salvage keeps and loses.
type Count struct {
	Readings int64 // undamaged, with their place of measurement
	Lost     int64 // damaged or missing, as far as is known
	Orphans  int64 // of series whose names are lost; they stay in the damaged file
	Commits  int   // lost commits of the tail, whose number of readings is not known
	First    int64 // period of the lost chunks, ns since 1970; First > Last = not known
	Last     int64
}

// verify compares every block of an inventory with its checksum and with the series that its
// row states.
func verify(ctx context.Context, src pages.Source, v *inventory) (*salvage, error) {
	s := &salvage{inventory: v, names: map[int64]named{}, whole: map[int64]*readings{}, orphans: map[int64]int64{}, Count: Count{First: math.MaxInt64, Last: math.MinInt64}}
	r := blockReader{rows: pages.NewReader(src), blocks: pages.NewReader(src)}
	bySeries := map[int64][]chunkRow{}
	for _, c := range v.chunks {
		bySeries[c.series] = append(bySeries[c.series], c)
	}
	s.name(&r, bySeries)
	for id, rows := range bySeries {
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		n, known := s.names[id]
		if !known {
			for _, c := range rows {
				s.orphans[id] += int64(c.N)
			}
			continue
		}
		s.series(&r, id, n.identity, rows)
	}
	s.commits(&r)
	s.count()
	return s, nil
}

// name chooses for each series the name with which the checksums of most of its chunks match: on
// a damaged page a name may be wrong while that in the index is right.
func (s *salvage) name(r *blockReader, chunks map[int64][]chunkRow) {
	for id, keys := range s.inventory.series {
		best := -1
		for _, k := range keys {
			for _, runName := range s.runs[k.Run] {
				n, fits := named{k, runName, k.Identity(runName)}, 0
				for _, c := range chunks[id][:min(len(chunks[id]), 8)] {
					if c.Identity = n.identity; r.check(s, &c) {
						fits++
					}
				}
				if fits > best {
					s.names[id], best = n, fits
				}
			}
		}
	}
}

// blockReader opens chunks.
type blockReader struct {
	rows, blocks *pages.Reader
	moments      chunk.Moments
	values       chunk.Values
	records      []chunk.Record
	at           pages.Place // of the moments read last
}

// check reports whether a chunk is undamaged and agrees with its row.
func (r *blockReader) check(s *salvage, c *chunkRow) bool {
	for _, r.at = range s.moments[c.Moments] {
		moments, ok := r.blocks.Row(r.at)
		if !ok {
			continue
		}
		row, ok := r.rows.Row(c.at)
		if !ok {
			return false
		}
		if c.Decode(moments.Values[1].([]byte), row.Values[10].([]byte), &r.moments, &r.values) == nil && c.Matches(&r.moments, &r.values, &r.records) {
			return true
		}
	}
	return false
}

// series adds the undamaged chunks of a series.
func (s *salvage) series(r *blockReader, id int64, identity uint64, rows []chunkRow) {
	slices.SortFunc(rows, func(a, b chunkRow) int {
		return cmp.Or(cmp.Compare(a.First, b.First), cmp.Compare(b.N, a.N), cmp.Compare(b.ID, a.ID))
	})
	w := &readings{}
	s.whole[id] = w
	last := int64(math.MinInt64)
	for _, c := range rows {
		c.Identity = identity
		if !r.check(s, &c) {
			continue
		}
		if c.First < last || !s.noDeleted && c.First == last { // only a deleted version of a chunk overlaps
			w.more = append(w.more, chunk.Section{Series: id, Identity: identity, Texts: r.values.Texts != nil,
				Records: chunk.AppendRecords(nil, &r.moments, &r.values)})
			continue
		}
		last = c.Last
		w.held += int64(c.N)
		w.chunks = append(w.chunks, wholeChunk{c, r.at})
	}
}

// commits adds the undamaged commits of the tail.
func (s *salvage) commits(r *blockReader) {
	var batch chunk.Batch
	damaged := false
	for _, t := range s.tail {
		row, ok := r.rows.Row(t.at)
		if !ok || t.n < 1 || t.n > chunk.MaxInBatch {
			damaged = true
			s.Commits++
			continue
		}
		orphans := t.n
		var sections []chunk.Section
		if batch.Decode(row.Values[2].([]byte), int(t.n), s.identity, s.known, func(x chunk.Section) error {
			orphans -= int64(len(x.Records))
			x.Records = slices.Clone(x.Records)
			sections = append(sections, x)
			return nil
		}) != nil {
			damaged = true
			s.Lost += t.n
			continue
		}
		s.Orphans += orphans
		for _, x := range sections {
			if s.whole[x.Series] == nil {
				s.whole[x.Series] = &readings{}
			}
			s.whole[x.Series].more = append(s.whole[x.Series].more, x)
		}
	}
	if n := len(s.tail); n > 0 && !damaged && s.noDeleted { // folding leaves damaged commits in the tail
		s.Commits += int(s.tail[n-1].id) - n
	}
}

func (s *salvage) identity(series int64) (uint64, bool) {
	s.highest.series = max(s.highest.series, series)
	n, known := s.names[series]
	return n.identity, known
}

func (s *salvage) known(series int64) bool { _, known := s.names[series]; return known }

// count computes the number of lost readings: the number that the store states for a series, or
// that of its chunks in the index, less the undamaged ones.
func (s *salvage) count() {
	indexed, kept := map[int64]int64{}, map[int64]bool{}
	for _, w := range s.whole {
		for _, c := range w.chunks {
			kept[c.ID] = true
		}
		for _, x := range w.more {
			s.Readings += int64(len(x.Records))
		}
		s.Readings += w.held
	}
	for id, e := range s.entries {
		if indexed[e.series] += e.n; !kept[id] && s.known(e.series) {
			s.First, s.Last = min(s.First, e.first), max(s.Last, e.last)
		}
	}
	for series, n := range indexed {
		if _, ok := s.chunkReadings[series]; !ok {
			s.chunkReadings[series] = n
		}
	}
	for series, n := range s.chunkReadings {
		if w := s.whole[series]; w != nil {
			n -= w.held
		}
		s.Lost += max(n-s.orphans[series], 0)
	}
	for _, n := range s.orphans {
		s.Orphans += n
	}
}
