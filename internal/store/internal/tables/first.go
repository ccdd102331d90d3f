package tables

import (
	"context"
	"database/sql"

	"ohmkeep/internal/store/internal/chunk"
)

// intoChunks brings a store of one row a reading to today's tables.
func intoChunks(ctx context.Context, tx *sql.Tx) error {
	if err := script("tables/2.sql")(ctx, tx); err != nil {
		return err
	}
	if err := convert(ctx, tx); err != nil {
		return err
	}
	_, err := tx.ExecContext(ctx, "DROP TABLE reading; DROP TABLE series_1")
	return err
}

// convert puts the rows into chunks, so many at a time as memory is spared for.
func convert(ctx context.Context, tx *sql.Tx) error {
	keys, err := firstKeys(ctx, tx)
	if err != nil {
		return err
	}
	rows, err := tx.QueryContext(ctx, "SELECT at, zone, series, text FROM reading ORDER BY at, id")
	if err != nil {
		return err
	}
	defer rows.Close()
	const most = 1 << 17
	to := NewFiler(ctx, tx)
	var items []Item
	for rows.Next() {
		var series int64
		var r chunk.Record
		var text string
		if err := rows.Scan(&r.At, &r.Zone, &series, &text); err != nil {
			return err
		}
		if n := len(items); n >= most && items[n-1].At != r.At { // a moment stays together, for its order
			if err := Insert(ctx, tx, Sections(items)); err != nil {
				return err
			}
			items = items[:0]
		}
		item, err := to.File(keys[series], r, text)
		if err != nil {
			return err
		}
		items = append(items, item)
	}
	if err := rows.Err(); err != nil {
		return err
	}
	return Insert(ctx, tx, Sections(items))
}

// firstKeys gives what the series of the first schema have in common, but for the
// form of numbers.
func firstKeys(ctx context.Context, tx *sql.Tx) (map[int64]Key, error) {
	rows, err := tx.QueryContext(ctx, "SELECT id, run, step, quantity, place_from, place_to, unit, meter FROM series_1")
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	keys := map[int64]Key{}
	for rows.Next() {
		var id int64
		var k Key
		var quantity string
		if err := rows.Scan(&id, &k.Run, &k.Step, &quantity, &k.From, &k.To, &k.Unit, &k.Meter); err != nil {
			return nil, err
		}
		if k.Quantity, err = quantityNamed(quantity); err != nil {
			return nil, err
		}
		keys[id] = k
	}
	return keys, rows.Err()
}
