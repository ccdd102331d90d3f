package tables

import (
	"context"
	"database/sql"
	"errors"
	"math"
	"strconv"

	"ohmkeep/internal/store/internal/chunk"
)

// Chunk is a chunk's row in the store, without its blocks.
type Chunk struct {
	ID          int64
	Identity    uint64 // of its series
	First, Last int64  // ns since 1970 in UTC
	N           int
	Measured    int  // number of measured values
	Counted     bool // the fields up to the sum of counts are set
	Lowest      int64
	Highest     int64
	Sum         int64
	Moments     int64 // id of the row of its moments
}

// overlapping returns the chunks of a series that overlap a period (both ends included) and the
// last one that begins before it. If there are none, it returns the next one after the
// period.
func overlapping(ctx context.Context, tx *sql.Tx, series int64, identity uint64, first, last int64) ([]Chunk, error) {
	there, err := chunks(ctx, tx, identity, "chunk", `series = ?1 AND first <= ?3
		AND first >= coalesce((SELECT max(first) FROM chunk WHERE series = ?1 AND first <= ?2), ?2)
		ORDER BY first, id`, series, first, last)
	if err != nil || len(there) > 0 {
		return there, err
	}
	return chunks(ctx, tx, identity, "chunk", "series = ?1 AND first > ?2 ORDER BY first, id LIMIT 1", series, last)
}

// Chunks returns the chunks of a series that contain moments between first and last, in order of
// time.
func Chunks(ctx context.Context, tx *sql.Tx, of *Series, first, last int64) ([]Chunk, error) {
	return chunks(ctx, tx, of.Identity, "chunk", `series = ?1 AND first <= ?3
		AND first >= coalesce((SELECT max(first) FROM chunk WHERE series = ?1 AND first < ?2), ?2)
		AND last >= ?2 ORDER BY first, id`, of.ID, first, last)
}

// NewestBefore returns the last chunk of a series that begins before a moment; ok is false if there
// is none.
func NewestBefore(ctx context.Context, tx *sql.Tx, of *Series, before int64) (c Chunk, ok bool, err error) {
	list, err := chunks(ctx, tx, of.Identity, "chunk", "series = ?1 AND first < ?2 ORDER BY first DESC, id DESC LIMIT 1", of.ID, before)
	if err != nil || len(list) == 0 {
		return Chunk{}, false, err
	}
	return list[0], true, nil
}

// Readable is like Chunks for a store that may be damaged. If the index is damaged, it searches the
// chunks themselves and reports those that are missing. Where all chunks of a series are
// read, their readings are compared with the stored number: a page whose end is lost gives
// fewer entries of an index, and no error.
func Readable(ctx context.Context, tx *sql.Tx, of *Series, first, last int64, damage *Damage) ([]Chunk, error) {
	all, err := Chunks(ctx, tx, of, first, last)
	if err == nil && first == Beginning && last == End && !complete(ctx, tx, of, all) {
		err = chunk.ErrDamaged
	}
	if !Broken(err) {
		return all, err
	}
	damage.Series++
	all, err = chunks(ctx, tx, of.Identity, "chunk NOT INDEXED", "series = ?1 AND first <= ?3 AND last >= ?2 ORDER BY first, id", of.ID, first, last)
	if Broken(err) {
		err = nil
	}
	return all, err
}

// complete reports whether chunks hold as many readings as are stored of a series. Where
// that number cannot be read, they are taken as complete; a check reports the number.
func complete(ctx context.Context, tx *sql.Tx, of *Series, all []Chunk) bool {
	var held, found int64
	if err := tx.QueryRowContext(ctx, "SELECT coalesce((SELECT readings FROM held WHERE series = ?), 0)", of.ID).Scan(&held); err != nil {
		return true
	}
	for _, c := range all {
		found += int64(c.N)
	}
	return found == held
}

func chunks(ctx context.Context, tx *sql.Tx, identity uint64, from, where string, args ...any) ([]Chunk, error) {
	rows, err := tx.QueryContext(ctx, "SELECT id, first, last, n, measured, lowest, highest, sum FROM "+from+" WHERE "+where, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var all []Chunk
	// Scanned into variables of type any, which need no conversion: a year has thousands of
	// chunks.
	var columns [8]any
	into := []any{&columns[0], &columns[1], &columns[2], &columns[3], &columns[4], &columns[5], &columns[6], &columns[7]}
	for rows.Next() {
		if err := rows.Scan(into...); err != nil {
			return nil, err
		}
		c := Chunk{Identity: identity}
		var n, measured int64
		for i, to := range []*int64{&c.ID, &c.First, &c.Last, &n, &measured, &c.Lowest, &c.Highest, &c.Sum} {
			*to, c.Counted = columns[i].(int64) // null without counts
		}
		c.N, c.Measured = int(n), int(measured)
		if k := len(all) - 1; k >= 0 && (c.First < all[k].First || c.First == all[k].First && c.ID <= all[k].ID) {
			return all, chunk.ErrDamaged // damaged pages that refer back would be read endlessly
		}
		all = append(all, c)
	}
	return all, rows.Err()
}

// Beginning and End are before and after all moments.
const (
	Beginning = math.MinInt64
	End       = math.MaxInt64
)

// Load reads the blocks of a chunk.
func (c *Chunk) Load(ctx context.Context, tx *sql.Tx, m *chunk.Moments, v *chunk.Values) error {
	return c.scan(tx.QueryRowContext(ctx, loadText, c.ID), m, v)
}

const loadText = `SELECT chunk.moments, moments.block, chunk.block FROM chunk JOIN moments ON moments.id = chunk.moments WHERE chunk.id = ?`

func (c *Chunk) scan(row *sql.Row, m *chunk.Moments, v *chunk.Values) error {
	var moments, values []byte
	if err := row.Scan(&c.Moments, &moments, &values); errors.Is(err, sql.ErrNoRows) {
		return chunk.ErrDamaged
	} else if err != nil {
		return err
	}
	return c.Decode(moments, values, m, v)
}

// Decode decodes the blocks of a chunk.
func (c *Chunk) Decode(moments, values []byte, m *chunk.Moments, v *chunk.Values) error {
	if c.N > chunk.MaxRecords {
		return chunk.ErrDamaged
	}
	if err := m.Decode(moments, c.N); err != nil {
		return err
	}
	return v.Decode(values, c.N, chunk.NewSeed(c.Identity, moments))
}

// DecodeUntil is like Decode without zones, clocks and boots. Moments after last may be wrong.
func (c *Chunk) DecodeUntil(moments, values []byte, m *chunk.Moments, v *chunk.Values, last int64) error {
	if c.N > chunk.MaxRecords {
		return chunk.ErrDamaged
	}
	if err := m.DecodeUntil(moments, c.N, last); err != nil {
		return err
	}
	return v.Decode(values, c.N, chunk.NewSeed(c.Identity, moments))
}

// Matches reports whether a chunk's row agrees with its content. Records are written to
// scratch, whose memory is reused.
func (c *Chunk) Matches(m *chunk.Moments, v *chunk.Values, scratch *[]chunk.Record) bool {
	*scratch = chunk.AppendRecords((*scratch)[:0], m, v)
	measured, lowest, highest, sum := summary(v.Texts != nil, *scratch)
	if c.First != m.At[0] || c.Last != m.At[c.N-1] || c.Measured != measured || c.Counted != (sum != nil) {
		return false
	}
	return !c.Counted || c.Lowest == lowest && c.Highest == highest && c.Sum == sum
}

// Loader reads many chunks.
type Loader struct{ stmt *sql.Stmt }

// NewLoader prepares reading within a transaction.
func NewLoader(ctx context.Context, tx *sql.Tx) (*Loader, error) {
	stmt, err := tx.PrepareContext(ctx, loadText)
	return &Loader{stmt}, err
}

// Load reads the blocks of a chunk.
func (l *Loader) Load(ctx context.Context, c *Chunk, m *chunk.Moments, v *chunk.Values) error {
	return c.scan(l.stmt.QueryRowContext(ctx, c.ID), m, v)
}

// Close ends the reading.
func (l *Loader) Close() error { return l.stmt.Close() }

// OpenAll reads chunks one after the other and calls do with the index and the blocks of each,
// until do returns false. Damaged chunks, including those for which do returns a Broken error, are
// left out and reported.
func OpenAll(ctx context.Context, tx *sql.Tx, list []Chunk, damage *Damage, do func(i int, moments, values []byte) (more bool, err error)) error {
	for done := 0; done < len(list); {
		n, ended, err := openUntilDamage(ctx, tx, list[done:], func(i int, moments, values []byte) (bool, error) {
			return do(done+i, moments, values)
		})
		switch {
		case ended:
			return nil
		case Broken(err):
			damage.Lost(list[done+n])
			n++
		case err != nil:
			return err
		}
		done += n
	}
	return nil
}

// openUntilDamage reads chunks up to the first damaged one. It returns how many it has read.
func openUntilDamage(ctx context.Context, tx *sql.Tx, list []Chunk, do func(i int, moments, values []byte) (bool, error)) (n int, ended bool, err error) {
	ids := []byte("[")
	for i, c := range list {
		if i > 0 {
			ids = append(ids, ',')
		}
		ids = strconv.AppendInt(ids, c.ID, 10)
	}
	rows, err := tx.QueryContext(ctx, `SELECT moments.block, chunk.block FROM json_each(?) AS wanted
		LEFT JOIN chunk ON chunk.id = wanted.value LEFT JOIN moments ON moments.id = chunk.moments`, string(append(ids, ']')))
	if err != nil {
		return 0, false, err
	}
	defer rows.Close()
	var moments, values sql.RawBytes
	for rows.Next() {
		if err := rows.Scan(&moments, &values); err != nil {
			return n, false, err
		}
		if more, err := do(n, moments, values); err != nil || !more {
			return n, err == nil, err
		}
		n++
	}
	if err = rows.Err(); err == nil && n < len(list) {
		err = chunk.ErrDamaged
	}
	return n, false, err
}
