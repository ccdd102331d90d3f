package store

import (
	"context"
	"database/sql"
	"fmt"
	"iter"
	"slices"
	"time"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/store/internal/chunk"
	"ohmkeep/internal/store/internal/query"
	"ohmkeep/internal/store/internal/tables"
)

// Filter selects readings. The zero Filter selects all.
type Filter struct {
	Since time.Time // not before; zero = from the beginning
	Until time.Time // before; zero = to the end
	Step  string    // of this step; "" = of any, or of none
}

// Readings returns the readings of a run in the order of time, those of the same
// moment in the order in which they were stored. Samples that are not measured values
// are left out. All are of the store's state at the beginning of the loop. An unknown run
// has no readings. An error ends the loop; the error of a damaged store comes after all
// readings that can be read.
func (s *Store) Readings(ctx context.Context, runName string, f Filter) iter.Seq2[reading.Reading, error] {
	sel := Selection{Run: runName, Since: f.Since, Until: f.Until}
	if f.Step != "" {
		sel.Step = &f.Step
	}
	return s.Selected(ctx, sel)
}

// Channels returns the distinct channels of a run's readings, in the order of their first
// reading: quantity, places, step, unit and meter.
func (s *Store) Channels(ctx context.Context, runName string) ([]Channel, error) {
	var all []Channel
	err := s.db.View(ctx, func(tx *sql.Tx) error {
		series, err := Selection{Run: runName}.series(ctx, tx)
		for _, x := range series {
			c := Channel{Run: runName, Step: x.Step, Quantity: x.Quantity, From: x.From, To: x.To, Unit: x.Unit, Meter: x.Meter}
			if !slices.Contains(all, c) {
				all = append(all, c)
			}
		}
		return err
	})
	return all, err
}

// Selected is Readings for any selection.
func (s *Store) Selected(ctx context.Context, sel Selection) iter.Seq2[reading.Reading, error] {
	return func(yield func(reading.Reading, error) bool) {
		var zones zones
		err := s.each(ctx, sel, func(of *tables.Series, r *chunk.Record) bool {
			if !r.Quality.Measured() {
				return true
			}
			x, err := readingOf(of, r, zones.time(r.At, r.Zone))
			if err != nil {
				yield(x, fmt.Errorf("%s: stored reading: %w", s.db.Path, err))
				return false
			}
			return yield(x, nil)
		})
		if err != nil {
			yield(reading.Reading{}, err)
		}
	}
}

// readingOf returns the reading of a record, with the record's moment as a time. The error is that
// of a text that is not a value.
func readingOf(of *tables.Series, r *chunk.Record, at time.Time) (reading.Reading, error) {
	x := reading.Reading{Time: at, Step: of.Step, Quantity: of.Quantity, From: of.From, To: of.To, Unit: of.Unit, Meter: of.Meter,
		Quality: r.Quality}
	if of.Form == tables.Texts {
		x.Text = r.Text
		if !r.Quality.Measured() {
			return x, nil
		}
		var err error
		x.Value, err = reading.Value(of.Quantity, r.Text, of.Unit)
		return x, err
	}
	x.Text = of.Text(r.Count)
	if r.Quality.Measured() {
		x.Value = of.Value(r.Count)
	}
	if of.Scale != "" {
		x.Counts = reading.Counts{N: r.Count, PerCount: of.Value(1)}
	}
	return x, nil
}

// recorded is readingOf for a reading of a probe.
func recorded(runName string, of *tables.Series, r *chunk.Record, at time.Time) (reading.Recorded, error) {
	x, err := readingOf(of, r, at)
	one := reading.Recorded{Reading: x, Run: runName, Probe: of.Probe}
	if r.Clock != 0 {
		one.SinceBoot = time.Duration(r.At - r.Clock)
	}
	return one, err
}

// each calls do with every record that is selected, in the order of time, until
// it returns false.
func (s *Store) each(ctx context.Context, sel Selection, do func(*tables.Series, *chunk.Record) bool) error {
	var damage tables.Damage
	err := s.db.View(ctx, func(tx *sql.Tx) error {
		series, err := sel.series(ctx, tx)
		lost := tables.Broken(err)
		if err != nil && !lost {
			return err
		}
		first, last := sel.Limits()
		damage, err = query.Each(ctx, tx, series, first, last, do)
		if lost {
			damage.Series++
		}
		return err
	})
	if err == nil && damage.Any() {
		err = s.damaged(damage)
	}
	return err
}

// damage is a fault for which Damaged returns true.
type damage struct{ fault.Fault }

func (d damage) Unwrap() []error { return []error{d.Fault, chunk.ErrDamaged} }

// damaged returns the error that describes a damage.
func (s *Store) damaged(d tables.Damage) damage {
	f := fault.Fault{File: s.db.Path, Hint: "the rest is whole; ohmkeep store compact keeps what is left"}
	switch {
	case d.Chunks > 0:
		f.Text = fmt.Sprintf("the store is damaged: %d readings from %s to %s are lost", d.Readings,
			time.Unix(0, d.First).UTC().Format(time.RFC3339), time.Unix(0, d.Last).UTC().Format(time.RFC3339))
	case d.Series > 0:
		f.Text = fmt.Sprintf("the store is damaged: what is held of %d series cannot be found for certain", d.Series)
	default:
		f.Text = fmt.Sprintf("the store is damaged: the readings of %d commits are lost", d.Commits)
	}
	return damage{f}
}

// zones converts stored moments to times with their offset from UTC.
type zones struct {
	offset int32
	zone   *time.Location
}

func (z *zones) time(at int64, offset int32) time.Time {
	if offset == 0 {
		return time.Unix(0, at).UTC()
	}
	if z.zone == nil || z.offset != offset {
		z.offset, z.zone = offset, time.FixedZone("", int(offset))
	}
	return time.Unix(0, at).In(z.zone)
}

// Run summarises the readings that a store holds of one run.
type Run struct {
	Name        string
	Readings    int64
	First, Last time.Time // in UTC
	Sources     []string  // where the readings came from, in the order of their first
}

// Runs returns the runs that the store holds readings of, in the order of their names.
func (s *Store) Runs(ctx context.Context) ([]Run, error) {
	var runs []Run
	err := s.db.View(ctx, func(tx *sql.Tx) error {
		held, err := query.Runs(ctx, tx)
		for _, r := range held {
			runs = append(runs, Run{r.Name, r.Readings, time.Unix(0, r.First).UTC(), time.Unix(0, r.Last).UTC(), r.Sources})
		}
		return err
	})
	return runs, err
}
