package archive

import (
	"context"
	"database/sql"
	"errors"

	"ohmkeep/internal/chunk"
)

// Chunk is what a store says of a chunk without opening it.
type Chunk struct {
	ID          int64
	First, Last int64 // ns since 1970 in UTC
	N           int
	Measured    int  // how many are measured values
	Counted     bool // the counts of those follow
	Lowest      int64
	Highest     int64
	Sum         int64
	Moments     int64 // the number of its moments
}

// around gives the chunks of a series that overlap a stretch of time (both ends
// included), the last one that begins before, and where there is none of those
// the next one behind.
func around(ctx context.Context, tx *sql.Tx, series, first, last int64) ([]Chunk, error) {
	there, err := chunks(ctx, tx, `series = ?1 AND first <= ?3
		AND first >= coalesce((SELECT max(first) FROM chunk WHERE series = ?1 AND first <= ?2), ?2)
		ORDER BY first, id`, series, first, last)
	if err != nil || len(there) > 0 {
		return there, err
	}
	return chunks(ctx, tx, "series = ?1 AND first > ?2 ORDER BY first, id LIMIT 1", series, last)
}

// Chunks gives the chunks of a series that hold a moment from first to last, in
// the order of time.
func Chunks(ctx context.Context, tx *sql.Tx, series, first, last int64) ([]Chunk, error) {
	return chunks(ctx, tx, `series = ?1 AND first <= ?3
		AND first >= coalesce((SELECT max(first) FROM chunk WHERE series = ?1 AND first < ?2), ?2)
		AND last >= ?2 ORDER BY first, id`, series, first, last)
}

func chunks(ctx context.Context, tx *sql.Tx, where string, args ...any) ([]Chunk, error) {
	rows, err := tx.QueryContext(ctx, "SELECT id, first, last, n, measured, lowest, highest, sum FROM chunk WHERE "+where, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var all []Chunk
	for rows.Next() {
		var c Chunk
		var lowest, highest, sum sql.NullInt64
		if err := rows.Scan(&c.ID, &c.First, &c.Last, &c.N, &c.Measured, &lowest, &highest, &sum); err != nil {
			return nil, err
		}
		c.Counted = sum.Valid
		c.Lowest, c.Highest, c.Sum = lowest.Int64, highest.Int64, sum.Int64
		all = append(all, c)
	}
	return all, rows.Err()
}

// Load reads what a chunk holds.
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
	if err := m.Decode(moments, c.N); err != nil {
		return err
	}
	return v.Decode(values, c.N)
}

// Loader reads many chunks.
type Loader struct{ stmt *sql.Stmt }

// NewLoader prepares reading within a transaction.
func NewLoader(ctx context.Context, tx *sql.Tx) (*Loader, error) {
	stmt, err := tx.PrepareContext(ctx, loadText)
	return &Loader{stmt}, err
}

// Load reads what a chunk holds.
func (l *Loader) Load(ctx context.Context, c *Chunk, m *chunk.Moments, v *chunk.Values) error {
	return c.scan(l.stmt.QueryRowContext(ctx, c.ID), m, v)
}

// Close ends the reading.
func (l *Loader) Close() error { return l.stmt.Close() }
