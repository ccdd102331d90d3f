package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"iter"
	"slices"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/store/internal/chunk"
	"ohmkeep/internal/store/internal/delivery"
	"ohmkeep/internal/store/internal/tables"
)

// Append stores readings of a run, all or none; source is their origin (a file, a probe).
// A reading that the store already holds, with the same moment, step, quantity, places,
// number as written, unit and meter, is counted as a duplicate and not stored again, so
// that a file may be imported twice.
// When Append returns without an error, the readings are safe on disk.
func (s *Store) Append(ctx context.Context, runName, source string, readings []reading.Reading) (added, duplicates int, err error) {
	for i, x := range readings {
		if err := checkStorable(x); err != nil {
			return 0, 0, fmt.Errorf("reading %d of %d: %w", i+1, len(readings), err)
		}
	}
	return s.AppendSeq(ctx, runName, source, func(yield func(reading.Reading, error) bool) {
		for _, x := range readings {
			if !yield(x, nil) {
				return
			}
		}
	})
}

// batchSize is how many readings AppendSeq holds at a time.
const batchSize = 1 << 16

// AppendSeq is Append for a sequence of readings, which need not fit into memory. An error
// in the sequence is returned unchanged, and nothing is stored.
func (s *Store) AppendSeq(ctx context.Context, runName, source string, readings iter.Seq2[reading.Reading, error]) (added, duplicates int, err error) {
	next, stop := iter.Pull2(readings)
	defer stop()
	first, err, ok := next()
	if err != nil || !ok {
		return 0, 0, err
	}
	n := 0
	var unsound error // error of the readings, not of the store
	err = s.update(ctx, runName, func(tx *sql.Tx, runID int64) (err error) {
		into, err := newAppender(ctx, tx, runName, runID, source)
		if err != nil {
			return err
		}
		defer func() { err = errors.Join(err, into.close(ctx)) }()
		for x, more := first, true; more; {
			n++
			if unsound = checkStorable(x); unsound != nil {
				unsound = fmt.Errorf("reading %d: %w", n, unsound)
				return unsound
			}
			if err := into.add(ctx, x); err != nil {
				return err
			}
			if x, unsound, more = next(); unsound != nil {
				return unsound
			}
		}
		added, err = into.flush(ctx)
		return err
	})
	switch {
	case unsound != nil:
		return 0, 0, unsound
	case err != nil:
		return 0, 0, err
	}
	return added, n - added, nil
}

// appender stores readings of one transaction, a batch at a time.
type appender struct {
	tx    *sql.Tx
	run   int64
	held  []reading.Reading
	items []tables.Item
	filer *tables.Sorter
	in    *tables.Inserter
	added int
}

func newAppender(ctx context.Context, tx *sql.Tx, runName string, run int64, source string) (*appender, error) {
	if err := tables.EnsureSource(ctx, tx, run, source); err != nil {
		return nil, err
	}
	in, err := tables.NewInserter(ctx, tx)
	return &appender{tx: tx, run: run, filer: tables.NewSorter(tx, runName), in: in}, err
}

func (a *appender) close(ctx context.Context) error { return a.in.Close(ctx) }

// add adds a reading. Consecutive readings of the same moment go into the same batch.
func (a *appender) add(ctx context.Context, x reading.Reading) error {
	if n := len(a.held); n >= batchSize && !x.Time.Equal(a.held[n-1].Time) {
		if _, err := a.flush(ctx); err != nil {
			return err
		}
	}
	a.held = append(a.held, x)
	return nil
}

// flush stores the waiting readings and returns how many were new so far.
func (a *appender) flush(ctx context.Context) (added int, err error) {
	if err := ctx.Err(); err != nil {
		return 0, err
	}
	if byTime := func(a, b reading.Reading) int { return a.Time.Compare(b.Time) }; !slices.IsSortedFunc(a.held, byTime) {
		slices.SortStableFunc(a.held, byTime)
	}
	a.items = a.items[:0]
	for i := range a.held {
		x := &a.held[i]
		_, zone := x.Time.Zone()
		key := tables.Key{Run: a.run, Step: x.Step, Quantity: x.Quantity, From: x.From, To: x.To, Unit: x.Unit, Meter: x.Meter}
		item, err := a.filer.Item(ctx, key, chunk.Record{At: x.Time.UnixNano(), Zone: int32(zone), Quality: x.Quality}, x.Text)
		if err != nil {
			return 0, err
		}
		a.items = append(a.items, item)
	}
	a.held = a.held[:0]
	if a.items, err = tables.NotStored(ctx, a.tx, a.items, a.filer.Keys()); err != nil {
		return 0, err
	}
	a.added += len(a.items)
	if len(a.items) > 0 { // in the order of time
		if err := delivery.Added(ctx, a.tx, a.run, a.items[0].At); err != nil {
			return 0, err
		}
	}
	return a.added, a.in.Insert(ctx, a.filer.Sections(a.items))
}

// checkStorable returns an error if a reading could not be read back unchanged.
func checkStorable(x reading.Reading) error {
	if !reading.Storable(x.Time) {
		return fault.Fault{Key: "time", Text: "outside the years 1970 to 2262"}
	}
	if !x.Quality.Measured() {
		return nil
	}
	_, err := reading.Value(x.Quantity, x.Text, x.Unit)
	return err
}
