package archive

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"math"
	"slices"
	"strconv"
	"time"

	"ohmkeep/internal/central/postgres"
	"ohmkeep/internal/fault"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/store"
)

// Reader reads the runs of a site from the central database as from its store: the same readings,
// digits, values and order.
type Reader struct {
	db   *postgres.DB
	site int64
	name string
}

// NewReader returns a reader of a site.
func NewReader(ctx context.Context, db *postgres.DB, site string) (*Reader, error) {
	if err := db.Migrate(ctx); err != nil {
		return nil, err
	}
	row, found, err := db.One(ctx, "SELECT id FROM ohmkeep.site WHERE name = $1", site)
	if err != nil {
		return nil, err
	}
	if !found {
		return nil, fault.Fault{Key: "--site", Text: fmt.Sprintf("the central database knows no site %q", site), Hint: "ohmkeep fleet lists them"}
	}
	return &Reader{db, row.Int(0), site}, nil
}

// OfSite returns a reader of the site with a number.
func OfSite(ctx context.Context, db *postgres.DB, site int64) (*Reader, error) {
	row, found, err := db.One(ctx, "SELECT name FROM ohmkeep.site WHERE id = $1", site)
	if err == nil && !found {
		err = fault.Fault{Text: "the central database knows no such site; it may have been removed"}
	}
	if err != nil {
		return nil, err
	}
	return &Reader{db, site, row.Text(0)}, nil
}

// RunFile returns the newest run file of a run.
func (a *Reader) RunFile(ctx context.Context, runName string) (string, error) {
	row, found, err := a.db.One(ctx, "SELECT text FROM ohmkeep.run_file WHERE site = $1 AND run = $2 ORDER BY taken DESC LIMIT 1", a.site, runName)
	if err == nil && !found {
		err = fmt.Errorf("site %q has no run %q", a.name, runName)
	}
	if err != nil {
		return "", err
	}
	return row.Text(0), nil
}

// series returns the series that are selected, by their number.
func (a *Reader) series(ctx context.Context, sel store.Selection) (map[int64]*store.Series, error) {
	all := map[int64]*store.Series{}
	err := a.db.Each(ctx, `SELECT id, position, probe, step, quantity, place_from, place_to, unit, meter, form, scale FROM ohmkeep.series
		WHERE site = $1 AND run = $2`, func(r postgres.Row) error {
		q := slices.Index(run.QuantityNames, r.Text(4))
		if q < 0 {
			return fmt.Errorf("the central database has a quantity %q", r.Text(4))
		}
		s := &store.Series{Identity: r.Int(0), Number: r.Int(1), Form: r.Text(9), Channel: store.Channel{Run: sel.Run, Probe: r.Text(2),
			Step: r.Text(3), Quantity: run.Quantity(q), From: r.Text(5), To: r.Text(6), Unit: r.Text(7), Meter: r.Text(8), Scale: r.Text(10)}}
		if sel.Takes(&s.Channel) {
			all[s.Identity] = s
		}
		return nil
	}, a.site, sel.Run)
	return all, err
}

// wholeRevisions are the revisions of a run that have arrived whole.
const wholeRevisions = "ohmkeep.revision WHERE site = $1 AND run = $2 AND id <= (SELECT whole FROM ohmkeep.run WHERE site = $1 AND name = $2)"

// revisions returns the revisions of a run that have arrived whole, the newest first.
func (a *Reader) revisions(ctx context.Context, runName string) (all []store.Revision, err error) {
	err = a.db.Each(ctx, "SELECT id, first, last FROM "+wholeRevisions+" ORDER BY id DESC", func(r postgres.Row) error {
		all = append(all, store.Revision{ID: r.Int(0), First: r.Int(1), Last: r.Int(2)})
		return nil
	}, a.site, runName)
	return all, err
}

// errEnough ends a query whose rest is not wanted.
var errEnough = errors.New("enough")

// Readings returns the measured values of a run as the Readings of its store does: in the order of
// time, with the digits and values that the store has.
func (a *Reader) Readings(ctx context.Context, runName string, f store.Filter) iter.Seq2[reading.Reading, error] {
	sel := store.Selection{Run: runName, Since: f.Since, Until: f.Until}
	if f.Step != "" {
		sel.Step = &f.Step
	}
	return a.Selected(ctx, sel)
}

// Selected returns the selected readings as the Selected of the run's store does.
func (a *Reader) Selected(ctx context.Context, sel store.Selection) iter.Seq2[reading.Reading, error] {
	return func(yield func(reading.Reading, error) bool) {
		if err := a.each(ctx, sel, func(x reading.Reading) error {
			if !yield(x, nil) {
				return errEnough
			}
			return nil
		}); err != nil && !errors.Is(err, errEnough) {
			yield(reading.Reading{}, err)
		}
	}
}

// each calls do with each reading, all of one state of the database.
func (a *Reader) each(ctx context.Context, sel store.Selection, do func(reading.Reading) error) error {
	return a.db.Snapshot(ctx, func() error { return a.eachAtOnce(ctx, sel, do) })
}

func (a *Reader) eachAtOnce(ctx context.Context, sel store.Selection, do func(reading.Reading) error) error {
	series, err := a.series(ctx, sel)
	if err != nil || len(series) == 0 {
		return err
	}
	revisions, err := a.revisions(ctx, sel.Run)
	if err != nil {
		return err
	}
	var receiver store.Receiver
	var held []store.Sent // of one moment
	pass := func() error {
		store.SortMoment(held)
		for i := range held {
			if !held[i].Quality.Measured() {
				continue
			}
			x, err := receiver.Reading(&held[i])
			if err == nil {
				err = do(x)
			}
			if err != nil {
				return err
			}
		}
		held = held[:0]
		return nil
	}
	take := func(r postgres.Row) error {
		x := store.Sent{Series: series[r.Int(0)], At: r.Int(1), Revision: r.Int(2), Nth: int32(r.Int(3)), Rank: int32(r.Int(4)), Zone: int32(r.Int(5)),
			Quality: reading.Quality(r.Int(6)), Text: r.Text(7), Count: r.Int(8)}
		if x.Series == nil || x.Revision != newest(revisions, x.At) {
			return nil
		}
		if len(held) > 0 && held[0].At != x.At {
			if err := pass(); err != nil {
				return err
			}
		}
		held = append(held, x)
		return nil
	}
	first, last := sel.Limits()
	months, err := a.months(ctx)
	if err != nil {
		return err
	}
	for _, m := range months { // month by month, so that none is sorted as a whole
		if m.last < first || m.first > last {
			continue
		}
		if err := a.db.Each(ctx, `SELECT series, at, revision, nth, rank, zone, quality, value, counts FROM ohmkeep.reading
			WHERE site = $1 AND series = ANY ($2::bigint[]) AND at BETWEEN $3 AND $4 ORDER BY at`,
			take, a.site, numbers(series), max(first, m.first), min(last, m.last)); err != nil {
			return err
		}
		if err := pass(); err != nil {
			return err
		}
	}
	return nil
}

// numbers returns the numbers of series as the text of an array (PostgreSQL 15, section 8.15.2).
func numbers(series map[int64]*store.Series) string {
	b := []byte{'{'}
	for id := range series {
		if len(b) > 1 {
			b = append(b, ',')
		}
		b = strconv.AppendInt(b, id, 10)
	}
	return string(append(b, '}'))
}

// newest returns the newest revision that covers a moment, or 0; revisions are newest first.
func newest(revisions []store.Revision, at int64) int64 {
	for _, r := range revisions {
		if r.First <= at && at <= r.Last {
			return r.ID
		}
	}
	return 0
}

// month is the period of a partition.
type month struct{ first, last int64 }

// months returns the months that the database has readings of, in their order.
func (a *Reader) months(ctx context.Context) (all []month, err error) {
	err = a.db.Each(ctx, `SELECT relname FROM pg_inherits JOIN pg_class ON pg_class.oid = inhrelid
		WHERE inhparent = 'ohmkeep.reading'::regclass ORDER BY relname`, func(r postgres.Row) error {
		begin, err := time.Parse("reading_2006_01", r.Text(0))
		if err != nil {
			return nil // a partition that the owner has added
		}
		m := month{begin.UnixNano(), math.MaxInt64}
		if end := begin.AddDate(0, 1, 0); reading.Storable(end) {
			m.last = end.UnixNano() - 1
		}
		all = append(all, m)
		return nil
	})
	return all, err
}

// Marks returns the marks of a run that were not withdrawn, in the order of time, then of kind,
// subject and text: not before since, and before until; zero = from the beginning, to the end.
func (a *Reader) Marks(ctx context.Context, runName string, since, until time.Time) (all []store.Mark, err error) {
	first, last := int64(math.MinInt64), int64(math.MaxInt64)
	if !since.IsZero() {
		first = since.UnixNano()
	}
	if !until.IsZero() {
		last = until.UnixNano() - 1
	}
	err = a.db.Each(ctx, `SELECT at, zone, kind, subject, text FROM ohmkeep.mark WHERE site = $1 AND run = $2 AND at BETWEEN $3 AND $4
		AND revision = (SELECT coalesce(max(id), 0) FROM `+wholeRevisions+`) AND withdrawn IS NULL ORDER BY at, kind, subject, text`,
		func(r postgres.Row) error {
			all = append(all, markOf(r))
			return nil
		}, a.site, runName, first, last)
	return all, err
}

// WasThinned reports false: the central database keeps every reading that has arrived.
func (a *Reader) WasThinned(context.Context, string) (bool, error) { return false, nil }

// State returns no state of an analysis: it is computed from the readings.
func (a *Reader) State(context.Context, string, string) (version int, data []byte, ok bool, err error) {
	return 0, nil, false, nil
}
