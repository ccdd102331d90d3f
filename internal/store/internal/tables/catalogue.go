package tables

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"

	"ohmkeep/internal/run"
	"ohmkeep/internal/store/internal/chunk"
)

// All returns the series of a run in order of their numbers. With a Broken error it returns those
// that could be read.
func All(ctx context.Context, tx *sql.Tx, runID int64) ([]*Series, error) {
	return series(ctx, tx, "series.run = ? ORDER BY series.id", runID)
}

// One returns a series.
func One(ctx context.Context, tx *sql.Tx, id int64) (*Series, error) {
	found, err := series(ctx, tx, "series.id = ?", id)
	if err == nil && len(found) == 0 {
		err = fmt.Errorf("%w: series %d is lost", chunk.ErrDamaged, id)
	}
	if err != nil {
		return nil, err
	}
	return found[0], nil
}

// Every returns the series of all runs in the order of their numbers.
func Every(ctx context.Context, tx *sql.Tx) ([]*Series, error) {
	return series(ctx, tx, "TRUE ORDER BY series.id")
}

// Identities returns the identities of all series by number. With a Broken error it returns those
// that could be read.
func Identities(ctx context.Context, tx *sql.Tx) (map[int64]uint64, error) {
	all, err := Every(ctx, tx)
	identities := make(map[int64]uint64, len(all))
	for _, s := range all {
		identities[s.ID] = s.Identity
	}
	return identities, err
}

func series(ctx context.Context, tx *sql.Tx, where string, args ...any) ([]*Series, error) {
	rows, err := tx.QueryContext(ctx, `SELECT series.id, run, run.name, probe, step, quantity, place_from, place_to, unit, meter, form, scale,
		coalesce(corrected, '') FROM series JOIN run ON run.id = series.run WHERE `+where, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var all []*Series
	var bad error // the last one that cannot be right
	for rows.Next() {
		s := &Series{}
		var runName, quantity string
		if err := rows.Scan(&s.ID, &s.Run, &runName, &s.Probe, &s.Step, &quantity, &s.From, &s.To, &s.Unit, &s.Meter, &s.Form,
			&s.Scale, &s.Corrected); err != nil {
			bad = fmt.Errorf("%w: %w", chunk.ErrDamaged, err) // not of the column's type
			continue
		}
		if s.Quantity, err = quantityNamed(quantity); err == nil {
			err = s.complete()
		}
		if err != nil {
			bad = fmt.Errorf("%w: %w", chunk.ErrDamaged, err)
			continue
		}
		s.Identity = s.Key.Identity(runName)
		all = append(all, s)
	}
	if err := rows.Err(); err != nil {
		return all, err
	}
	return all, bad
}

func quantityNamed(name string) (run.Quantity, error) {
	q := slices.Index(run.QuantityNames, name)
	if q < 0 {
		return 0, fmt.Errorf("stored series: %q is not a quantity", name)
	}
	return run.Quantity(q), nil
}

// Ensure returns the number of a series and creates it if it does not exist.
func Ensure(ctx context.Context, tx *sql.Tx, k Key) (int64, error) {
	args := []any{k.Run, k.Probe, k.Step, k.Quantity.String(), k.From, k.To, k.Unit, k.Meter, k.Form, k.Scale}
	return number(ctx, tx, `SELECT id FROM series WHERE run = ? AND probe = ? AND step = ? AND quantity = ?
			AND place_from = ? AND place_to = ? AND unit = ? AND meter = ? AND form = ? AND scale = ?`,
		`INSERT INTO series (run, probe, step, quantity, place_from, place_to, unit, meter, form, scale)
			VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`, args...)
}

// EnsureRun returns the number of a run and creates it if it does not exist.
func EnsureRun(ctx context.Context, tx *sql.Tx, name string) (int64, error) {
	return number(ctx, tx, "SELECT id FROM run WHERE name = ?", "INSERT INTO run (name) VALUES (?)", name)
}

// EnsureSource stores the origin of readings of a run.
func EnsureSource(ctx context.Context, tx *sql.Tx, runID int64, name string) error {
	_, err := number(ctx, tx, "SELECT id FROM source WHERE run = ? AND name = ?",
		"INSERT INTO source (run, name) VALUES (?, ?)", runID, name)
	return err
}

// Correct sets the corrected scale of a series; "" restores the one of its key.
func Correct(ctx context.Context, tx *sql.Tx, id int64, scale string) error {
	_, err := tx.ExecContext(ctx, "UPDATE series SET corrected = nullif(?, '') WHERE id = ?", scale, id)
	return err
}

// FindRun returns the number of a run; 0 if the run does not exist.
func FindRun(ctx context.Context, tx *sql.Tx, name string) (id int64, err error) {
	err = tx.QueryRowContext(ctx, "SELECT id FROM run WHERE name = ?", name).Scan(&id)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, nil
	}
	return id, err
}

// number returns the id of a row that is found or else inserted; both statements
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
