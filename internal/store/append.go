package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/reading"
)

// Append stores readings of a run; source says where they came from (a file, a
// probe). All are stored or none. A reading that is there already, alike in
// moment, step, quantity, places, number as written, unit and meter, is not
// stored again but counted as a duplicate, so that a file may be imported twice.
// When Append returns without an error, the readings are safe on disk.
func (s *Store) Append(ctx context.Context, runName, source string, readings []reading.Reading) (added, duplicates int, err error) {
	if s.write == nil {
		return 0, 0, fault.Fault{File: s.path, Text: "the store was opened for reading only"}
	}
	for i, x := range readings {
		if err := sound(x); err != nil {
			return 0, 0, fmt.Errorf("reading %d of %d: %w", i+1, len(readings), err)
		}
	}
	if len(readings) == 0 {
		return 0, 0, nil
	}
	added, err = s.insert(ctx, runName, source, readings)
	if err != nil {
		return 0, 0, explain(s.path, cancelled(ctx, err))
	}
	return added, len(readings) - added, nil
}

// sound checks that a reading can be given back as it is.
func sound(x reading.Reading) error {
	if !reading.Storable(x.Time) {
		return fault.Fault{Key: "time", Text: "outside the years 1970 to 2262"}
	}
	_, err := reading.Value(x.Quantity, x.Text, x.Unit)
	return err
}

func (s *Store) insert(ctx context.Context, runName, source string, readings []reading.Reading) (added int, err error) {
	tx, err := s.write.BeginTx(ctx, nil)
	if err != nil {
		return 0, err
	}
	defer tx.Rollback() // after a commit it does nothing

	run, err := number(ctx, tx, "SELECT id FROM run WHERE name = ?", "INSERT INTO run (name) VALUES (?)", runName)
	if err != nil {
		return 0, err
	}
	from, err := number(ctx, tx, "SELECT id FROM source WHERE run = ? AND name = ?",
		"INSERT INTO source (run, name) VALUES (?, ?)", run, source)
	if err != nil {
		return 0, err
	}
	row, err := tx.PrepareContext(ctx, `INSERT INTO reading (run, at, series, text, zone, source)
		VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT DO NOTHING`)
	if err != nil {
		return 0, err
	}
	known := map[series]int64{}
	for _, x := range readings {
		of := seriesOf(x)
		id, ok := known[of]
		if !ok {
			if id, err = of.number(ctx, tx, run); err != nil {
				return 0, err
			}
			known[of] = id
		}
		_, zone := x.Time.Zone()
		result, err := row.ExecContext(ctx, run, x.Time.UnixNano(), id, x.Text, zone, from)
		if err != nil {
			return 0, err
		}
		n, err := result.RowsAffected()
		if err != nil {
			return 0, err
		}
		added += int(n)
	}
	return added, tx.Commit()
}

// series is all that readings of one place have in common; see the schema.
type series struct {
	step, quantity, from, to, unit, meter string
}

func seriesOf(x reading.Reading) series {
	return series{x.Step, x.Quantity.String(), x.From, x.To, x.Unit, x.Meter}
}

func (of series) number(ctx context.Context, tx *sql.Tx, run int64) (int64, error) {
	return number(ctx, tx,
		`SELECT id FROM series WHERE run = ? AND step = ? AND quantity = ?
			AND place_from = ? AND place_to = ? AND unit = ? AND meter = ?`,
		`INSERT INTO series (run, step, quantity, place_from, place_to, unit, meter) VALUES (?, ?, ?, ?, ?, ?, ?)`,
		run, of.step, of.quantity, of.from, of.to, of.unit, of.meter)
}

// number gives the id of a row that is found or else inserted; both statements
// take the same arguments.
func number(ctx context.Context, tx *sql.Tx, find, insert string, args ...any) (id int64, err error) {
	err = tx.QueryRowContext(ctx, find, args...).Scan(&id)
	if !errors.Is(err, sql.ErrNoRows) {
		return id, err
	}
	result, err := tx.ExecContext(ctx, insert, args...)
	if err != nil {
		return 0, err
	}
	return result.LastInsertId()
}
