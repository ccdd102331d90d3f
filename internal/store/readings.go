package store

import (
	"context"
	"database/sql"
	"fmt"
	"iter"
	"math"
	"slices"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// Filter says which readings are wanted. The zero Filter takes all.
type Filter struct {
	Since time.Time // not before; zero = from the beginning
	Until time.Time // before; zero = to the end
	Step  string    // of this step; "" = of any, or of none
}

// Readings gives the readings of a run in the order of time, those of the same
// moment in the order in which they were stored. All are of the state in which
// the store was when the loop began. A run that the store does not know has no
// readings. After an error the loop ends.
func (s *Store) Readings(ctx context.Context, runName string, f Filter) iter.Seq2[reading.Reading, error] {
	return func(yield func(reading.Reading, error) bool) {
		err := s.each(ctx, runName, f, func(x reading.Reading) bool { return yield(x, nil) })
		if err != nil {
			yield(reading.Reading{}, explain(s.path, cancelled(ctx, err)))
		}
	}
}

// each calls do with every reading until it returns false.
func (s *Store) each(ctx context.Context, runName string, f Filter, do func(reading.Reading) bool) error {
	tx, err := s.read.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return err
	}
	defer tx.Rollback() // it has changed nothing
	patterns, err := allSeries(ctx, tx, runName)
	if err != nil {
		return err
	}
	first, last := f.limits()
	rows, err := tx.QueryContext(ctx, `SELECT at, zone, series, text FROM reading
		WHERE run = (SELECT id FROM run WHERE name = ?1) AND at >= ?2 AND at <= ?3
			AND (?4 = '' OR series IN (SELECT id FROM series WHERE step = ?4))
		ORDER BY at, id`, runName, first, last, f.Step)
	if err != nil {
		return err
	}
	defer rows.Close()
	zones := map[int]*time.Location{0: time.UTC}
	for rows.Next() {
		if err := ctx.Err(); err != nil {
			return err // rows notices only some time later
		}
		var at, id int64
		var zone int
		var text string
		if err := rows.Scan(&at, &zone, &id, &text); err != nil {
			return err
		}
		if zones[zone] == nil {
			zones[zone] = time.FixedZone("", zone)
		}
		x := patterns[id]
		x.Time, x.Text = time.Unix(0, at).In(zones[zone]), text
		if x.Value, err = reading.Value(x.Quantity, x.Text, x.Unit); err != nil {
			return fmt.Errorf("stored reading: %w", err)
		}
		if !do(x) {
			return nil
		}
	}
	return rows.Err()
}

// limits gives the first and the last moment of a filter as they are stored.
func (f Filter) limits() (first, last int64) {
	first, last = math.MinInt64, math.MaxInt64
	if !f.Since.IsZero() {
		first = nanoseconds(f.Since)
	}
	if !f.Until.IsZero() {
		last = nanoseconds(f.Until.Add(-1))
	}
	return first, last
}

// nanoseconds gives a time as it is stored, or the end of what can be stored on
// its side.
func nanoseconds(t time.Time) int64 {
	switch {
	case reading.Storable(t):
		return t.UnixNano()
	case t.Unix() < 0:
		return math.MinInt64
	}
	return math.MaxInt64
}

// allSeries gives a reading for each series of a run, complete but for its time
// and value.
func allSeries(ctx context.Context, tx *sql.Tx, runName string) (map[int64]reading.Reading, error) {
	rows, err := tx.QueryContext(ctx, `SELECT series.id, step, quantity, place_from, place_to, unit, meter
		FROM series JOIN run ON run.id = series.run WHERE run.name = ?`, runName)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	patterns := map[int64]reading.Reading{}
	for rows.Next() {
		var id int64
		var quantity string
		var x reading.Reading
		if err := rows.Scan(&id, &x.Step, &quantity, &x.From, &x.To, &x.Unit, &x.Meter); err != nil {
			return nil, err
		}
		q := slices.Index(run.QuantityNames, quantity)
		if q < 0 {
			return nil, fmt.Errorf("stored series %d: %q is not a quantity", id, quantity)
		}
		x.Quantity = run.Quantity(q)
		patterns[id] = x
	}
	return patterns, rows.Err()
}

// Run is what a store holds of one run.
type Run struct {
	Name        string
	Readings    int
	First, Last time.Time // in UTC
	Sources     []string  // where the readings came from, in the order of their first
}

// Runs gives the runs that the store holds readings of, in the order of their names.
func (s *Store) Runs(ctx context.Context) ([]Run, error) {
	runs, err := s.runs(ctx)
	if err != nil {
		return nil, explain(s.path, cancelled(ctx, err))
	}
	return runs, nil
}

func (s *Store) runs(ctx context.Context) ([]Run, error) {
	rows, err := s.read.QueryContext(ctx, `WITH held AS MATERIALIZED (
			SELECT run, count(*) AS n, min(at) AS first, max(at) AS last FROM reading GROUP BY run)
		SELECT run.name, source.name, held.n, held.first, held.last
		FROM run JOIN held ON held.run = run.id JOIN source ON source.run = run.id
		ORDER BY run.name, source.id`)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var runs []Run
	for rows.Next() {
		var one Run
		var source string
		var first, last int64
		if err := rows.Scan(&one.Name, &source, &one.Readings, &first, &last); err != nil {
			return nil, err
		}
		if n := len(runs); n == 0 || runs[n-1].Name != one.Name {
			one.First, one.Last = time.Unix(0, first).UTC(), time.Unix(0, last).UTC()
			runs = append(runs, one)
		}
		latest := &runs[len(runs)-1]
		latest.Sources = append(latest.Sources, source)
	}
	return runs, rows.Err()
}
