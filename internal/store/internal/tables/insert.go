package tables

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"math"
	"slices"

	"ohmkeep/internal/store/internal/chunk"
)

// Insert adds records to the chunks of their series. The records of a section are in order of time.
// Records of a moment that a chunk already contains follow the existing ones.
func Insert(ctx context.Context, tx *sql.Tx, sections []chunk.Section) error {
	if len(sections) == 0 {
		return nil
	}
	in, err := NewInserter(ctx, tx)
	if err != nil {
		return err
	}
	return errors.Join(in.Insert(ctx, sections), in.Close(ctx))
}

// Inserter inserts records in parts, where all of them do not fit into memory.
type Inserter struct {
	tx      *sql.Tx
	moments map[string]int64 // id of each written block of moments, by its content
	left    map[int64]bool   // moments of replaced chunks, which may be unused now
	held    map[int64]int64  // number of readings of each series in chunks before
	more    map[int64]int    // number of readings of each series added since

	addMoments, add, replace *sql.Stmt

	before        []chunk.Record // of the chunk written last, with its moments
	beforeMoments storedMoments

	records []chunk.Record
	m       chunk.Moments
	v       chunk.Values
	block   []byte
}

// NewInserter returns an Inserter within a transaction.
func NewInserter(ctx context.Context, tx *sql.Tx) (*Inserter, error) {
	held, err := StoredCounts(ctx, tx)
	if err != nil {
		return nil, err
	}
	in := &Inserter{tx: tx, moments: map[string]int64{}, left: map[int64]bool{}, held: held, more: map[int64]int{}}
	if err := in.prepare(ctx); err != nil {
		in.finish()
		return nil, err
	}
	return in, nil
}

// Insert is like the function Insert.
func (in *Inserter) Insert(ctx context.Context, sections []chunk.Section) error {
	for _, s := range sections {
		if err := in.section(ctx, s); err != nil {
			return err
		}
	}
	return nil
}

// Close deletes the rows that were replaced and updates the number of readings.
func (in *Inserter) Close(ctx context.Context) error {
	defer in.finish()
	for series, n := range in.more {
		if err := AddCount(ctx, in.tx, series, n); err != nil {
			return err
		}
	}
	for id := range in.left {
		if _, err := in.tx.ExecContext(ctx, `DELETE FROM moments WHERE id = ?1
			AND NOT EXISTS (SELECT 1 FROM chunk WHERE moments = ?1)`, id); err != nil {
			return err
		}
	}
	return nil
}

func (in *Inserter) prepare(ctx context.Context) (err error) {
	for _, p := range []struct {
		into **sql.Stmt
		text string
	}{
		{&in.addMoments, "INSERT INTO moments (block) VALUES (?)"},
		{&in.add, `INSERT INTO chunk (series, first, last, n, measured, lowest, highest, sum, moments, block, name)
			VALUES (?1, ?, ?, ?, ?, ?, ?, ?, ?, ?, CASE WHEN ? THEN (SELECT json_array(run.id, run.name, probe, step, quantity, place_from,
				place_to, unit, meter, form, scale) FROM series JOIN run ON run.id = series.run WHERE series.id = ?1) END)`},
		{&in.replace, `UPDATE chunk SET series = ?, first = ?, last = ?, n = ?, measured = ?, lowest = ?, highest = ?,
			sum = ?, moments = ?, block = ? WHERE id = ?`},
	} {
		if *p.into, err = in.tx.PrepareContext(ctx, p.text); err != nil {
			return err
		}
	}
	return nil
}

func (in *Inserter) finish() {
	for _, s := range []*sql.Stmt{in.addMoments, in.add, in.replace} {
		if s != nil {
			s.Close()
		}
	}
}

// section divides new records among the existing chunks by time.
func (in *Inserter) section(ctx context.Context, s chunk.Section) error {
	records := s.Records
	if len(records) == 0 {
		return nil
	}
	there, err := overlapping(ctx, in.tx, s.Series, s.Identity, records[0].At, records[len(records)-1].At)
	if err != nil {
		return err
	}
	if len(there) == 0 {
		return in.write(ctx, s, records, nil)
	}
	if n := before(records, there[0].First); there[0].N+n > chunk.MaxRecords {
		if err := in.write(ctx, s, records[:n], nil); err != nil {
			return err
		}
		records = records[n:]
	} // otherwise the records before the first chunk fit into it
	for i := range there {
		n := len(records)
		if i+1 < len(there) {
			n = before(records, there[i+1].First)
		}
		if err := in.part(ctx, s, records[:n], there[i]); err != nil {
			return err
		}
		records = records[n:]
	}
	return nil
}

// before returns how many of the records, which are in order of time, are before a moment.
func before(records []chunk.Record, at int64) int {
	n, _ := slices.BinarySearchFunc(records, at, func(r chunk.Record, at int64) int { return cmp.Compare(r.At, at) })
	return n
}

// part adds records, which are all before the next chunk, to a chunk or as new chunks after it.
func (in *Inserter) part(ctx context.Context, s chunk.Section, part []chunk.Record, c Chunk) error {
	switch {
	case len(part) == 0:
		return nil
	case c.N >= chunk.MaxRecords && part[0].At >= c.Last:
		return in.write(ctx, s, part, nil)
	}
	return in.merge(ctx, s, part, c)
}

// merge adds new records to a chunk and writes those that do not fit as further chunks.
func (in *Inserter) merge(ctx context.Context, s chunk.Section, part []chunk.Record, c Chunk) error {
	switch err := c.Load(ctx, in.tx, &in.m, &in.v); {
	case Broken(err):
		return in.write(ctx, s, part, nil) // what is damaged stays, to be reported
	case err != nil:
		return err
	}
	in.records = chunk.AppendRecords(in.records[:0], &in.m, &in.v)
	held := len(in.records)
	in.records = append(in.records, part...)
	if appended := held == 0 || in.records[held-1].At <= part[0].At; !appended {
		slices.SortStableFunc(in.records, func(a, b chunk.Record) int { return cmp.Compare(a.At, b.At) })
	}
	in.left[c.Moments] = true
	return in.write(ctx, s, in.records, &c)
}

// write writes records as chunks. The first one replaces an existing chunk, if given.
func (in *Inserter) write(ctx context.Context, s chunk.Section, records []chunk.Record, instead *Chunk) error {
	for len(records) > 0 {
		n := min(len(records), chunk.MaxRecords)
		if err := in.one(ctx, s, records[:n], instead); err != nil {
			return err
		}
		records, instead = records[n:], nil
	}
	return nil
}

func (in *Inserter) one(ctx context.Context, s chunk.Section, records []chunk.Record, instead *Chunk) error {
	moments, err := in.shared(ctx, records)
	if err != nil {
		return err
	}
	in.more[s.Series] += len(records)
	measured, lowest, highest, sum := summary(s.Texts, records)
	in.block = chunk.AppendValues(in.block[:0], records, s.Texts, moments.seed(s.Identity))
	args := []any{s.Series, records[0].At, records[len(records)-1].At, len(records), measured, lowest, highest, sum, moments.id, in.block}
	if instead == nil {
		_, err = in.add.ExecContext(ctx, append(args, in.names(s.Series, len(records)))...)
		return err
	}
	in.more[s.Series] -= instead.N
	_, err = in.replace.ExecContext(ctx, append(args, instead.ID)...)
	return err
}

// namedChunks is the number of consecutive chunks of a series of which one contains the name of the
// series. Names are thus spread over the file, at little cost.
const namedChunks = 32

// names reports whether a new chunk contains the name of its series.
func (in *Inserter) names(series int64, n int) bool {
	before := (in.held[series] + int64(in.more[series]-n)) / chunk.MaxRecords
	return before%namedChunks == 0
}

// storedMoments are moments in the store.
type storedMoments struct {
	id  int64
	sum [4]byte // the checksum of their block
}

func (m storedMoments) seed(identity uint64) chunk.Seed { return chunk.NewSeed(identity, m.sum[:]) }

// shared writes the moments of records, or returns identical ones that another chunk has written.
func (in *Inserter) shared(ctx context.Context, records []chunk.Record) (storedMoments, error) {
	if len(in.before) > 0 && chunk.SameMoments(in.before, records) {
		return in.beforeMoments, nil
	}
	in.block = chunk.AppendMoments(in.block[:0], records)
	m := storedMoments{sum: [4]byte(in.block[len(in.block)-4:])}
	var known bool
	if m.id, known = in.moments[string(in.block)]; !known {
		result, err := in.addMoments.ExecContext(ctx, in.block)
		if err != nil {
			return m, err
		}
		if m.id, err = result.LastInsertId(); err != nil {
			return m, err
		}
		in.moments[string(in.block)] = m.id
	}
	in.before, in.beforeMoments = append(in.before[:0], records...), m
	return m, nil
}

// AddCount adds to the stored number of a series' readings in chunks. A check compares it with
// the readings found.
func AddCount(ctx context.Context, tx *sql.Tx, series int64, more int) error {
	_, err := tx.ExecContext(ctx, `INSERT INTO held (series, readings) VALUES (?1, ?2)
		ON CONFLICT DO UPDATE SET readings = readings + ?2`, series, more)
	return err
}

// StoredCounts returns the stored number of readings in chunks of each series.
func StoredCounts(ctx context.Context, tx *sql.Tx) (map[int64]int64, error) {
	rows, err := tx.QueryContext(ctx, "SELECT series, readings FROM held")
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	held := map[int64]int64{}
	for rows.Next() {
		var series, n int64
		if err := rows.Scan(&series, &n); err != nil {
			return nil, err
		}
		held[series] = n
	}
	return held, rows.Err()
}

// summary returns the number, the extremes and the sum of the counts of records; nil without
// counts.
func summary(texts bool, records []chunk.Record) (measured int, lowest, highest, sum any) {
	low, high, total := int64(math.MaxInt64), int64(math.MinInt64), int64(0)
	for i := range records {
		if r := &records[i]; r.Quality.Measured() {
			measured++
			low, high, total = min(low, r.Count), max(high, r.Count), total+r.Count
		}
	}
	if texts || measured == 0 {
		return measured, nil, nil, nil
	}
	return measured, low, high, total
}
