package tables

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"slices"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/store/internal/chunk"
	"ohmkeep/internal/store/internal/decimal"
)

// Texts is the form of a series whose numbers are stored as written.
const Texts = "text"

// Key identifies a series: the properties that all its readings share. Keys can be compared with
// ==.
type Key struct {
	Run      int64
	Probe    string // "" = imported or taken by hand
	Step     string
	Quantity run.Quantity
	From, To string
	Unit     string
	Meter    string
	Form     string // an decimal.Form as a string, or Texts
	Scale    string // an decimal.Scale for counts of a register; "" = the form says all
}

// Identity returns a checksum of all names of the place of readings. Blocks are sealed with it, so
// that readings are never taken for those of another place, even if the numbers of series or runs
// are damaged.
func (k *Key) Identity(runName string) uint64 {
	h := sha256.New()
	for _, text := range []string{runName, k.Probe, k.Step, k.Quantity.String(), k.From, k.To, k.Unit, k.Meter, k.Form, k.Scale} {
		fmt.Fprintf(h, "%d:%s", len(text), text)
	}
	return binary.LittleEndian.Uint64(h.Sum(nil))
}

// Sound returns an error if a key is not valid.
func (k *Key) Sound() error {
	s := Series{Key: *k}
	return s.complete()
}

// Series is a stored series.
type Series struct {
	ID       int64
	Identity uint64 // see Key.Identity
	Key
	Corrected string // the scale that is right instead of the key's; "" = none

	form  decimal.Form
	scale *decimal.Scale
	per   float64 // units in one SI unit
	ratio float64 // of the corrected scale to the key's; 1 where none is corrected
}

// complete computes the factors that convert counts of a series to values.
func (s *Series) complete() (err error) {
	var ok bool
	if s.per, ok = reading.PerSI(s.Quantity, s.Unit); !ok {
		return fmt.Errorf("stored series %d: a %s is not given in %q", s.ID, s.Quantity, s.Unit)
	}
	if s.Form != Texts {
		if s.form, err = decimal.ParseForm(s.Form); err != nil {
			return fmt.Errorf("stored series %d: %w", s.ID, err)
		}
	}
	s.ratio = 1
	if s.Scale == "" {
		return nil
	}
	scale, err := decimal.ParseScale(s.Scale)
	if err == nil && s.Corrected != "" {
		first := scale
		scale, err = decimal.ParseScale(s.Corrected)
		s.ratio = scale.Value(1) / first.Value(1)
	}
	if err != nil {
		return fmt.Errorf("stored series %d: %w", s.ID, err)
	}
	s.scale = &scale
	return nil
}

// Text returns a count as a number in the unit of the series: as it was written, or the register's
// counts times the value of one.
func (s *Series) Text(count int64) string {
	if s.scale != nil {
		return s.scale.Text(count)
	}
	return s.form.Text(count)
}

// Value returns the SI value of a count; °C for a temperature.
func (s *Series) Value(count int64) float64 {
	if s.scale != nil {
		return s.scale.Value(count) / s.per
	}
	return decimal.PowerOfTen(float64(count), s.form.Exponent()) / s.per
}

// Ratio returns the factor by which a correction has changed the values of a series.
func (s *Series) Ratio() float64 { return s.ratio }

// Mean returns the SI value of the mean of n counts with the given sum.
func (s *Series) Mean(sum int64, n int) float64 {
	mantissa, exponent := s.factor()
	return decimal.PowerOfTen(float64(sum)/float64(n)*mantissa, exponent) / s.per
}

// factor returns the value of one count in the unit of the series.
func (s *Series) factor() (mantissa float64, exponent int) {
	if s.scale != nil {
		return s.scale.Parts()
	}
	return 1, s.form.Exponent()
}

// Values appends the SI values of counts to dst. They are identical to those of Value.
func (s *Series) Values(dst []float64, counts []int64) []float64 {
	dst = slices.Grow(dst, len(counts))
	mantissa, exponent := s.factor()
	if -22 <= exponent && exponent <= 0 && s.per == 1 {
		power := decimal.PowerOfTen(1, -exponent)
		if mantissa == 1 {
			for _, c := range counts {
				dst = append(dst, float64(c)/power)
			}
			return dst
		}
		for _, c := range counts {
			dst = append(dst, float64(c)*mantissa/power)
		}
		return dst
	}
	for _, c := range counts {
		dst = append(dst, s.Value(c))
	}
	return dst
}

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
