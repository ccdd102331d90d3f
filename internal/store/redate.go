package store

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"maps"
	"slices"
	"time"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/store/internal/chunk"
	"ohmkeep/internal/store/internal/delivery"
	"ohmkeep/internal/store/internal/events"
	"ohmkeep/internal/store/internal/tables"
)

// MarkDatesUncertain marks the dates of those readings of a run's probes as uncertain that are dated
// after a moment: the clock that dated them was wrong. An event says how many. It returns
// how many it marked.
func (s *Store) MarkDatesUncertain(ctx context.Context, runName string, after, now time.Time) (marked int, err error) {
	first := nanoseconds(after) + 1
	err = s.update(ctx, runName, func(tx *sql.Tx, runID int64) error {
		marked = 0
		probed, err := seriesWithDates(ctx, tx, runID, first)
		if err != nil || len(probed) == 0 {
			return err
		}
		if err := tables.Fold(ctx, tx, nil); err != nil {
			return err
		}
		for _, of := range probed {
			n, err := tables.Requalify(ctx, tx, of, first, tables.End, func(w tables.Written) bool { return w.At >= first }, reading.ClockUncertain, true)
			if marked += n; err != nil {
				return err
			}
		}
		if marked == 0 {
			return nil
		}
		if err := delivery.Changed(ctx, tx, runID, first, tables.End, now); err != nil {
			return err
		}
		return events.Add(ctx, tx, runID, Mark{Time: now, Kind: MarkClock, Text: fmt.Sprintf(
			"%d readings have later dates, which are marked as uncertain; ohmkeep store redate moves them", marked)})
	})
	return marked, err
}

// seriesWithDates returns the series of a run's probes that hold a reading of a moment or later.
func seriesWithDates(ctx context.Context, tx *sql.Tx, runID, from int64) ([]*tables.Series, error) {
	all, err := probeSeries(ctx, tx, runID)
	if err != nil {
		return nil, err
	}
	tail, err := tables.Tail(ctx, tx, nil)
	if err != nil {
		return nil, err
	}
	later := map[int64]bool{}
	for _, section := range tail.Sections {
		later[section.Series] = section.Records[len(section.Records)-1].At >= from
	}
	var found []*tables.Series
	for _, of := range all {
		newest, ok, err := tables.NewestBefore(ctx, tx, of, tables.End)
		if err != nil {
			return nil, err
		}
		if later[of.ID] || ok && newest.Last >= from {
			found = append(found, of)
		}
	}
	return found, nil
}

// probeSeries returns the series of a run's probes, which the machine's clock has dated.
func probeSeries(ctx context.Context, tx *sql.Tx, runID int64) ([]*tables.Series, error) {
	all, err := tables.All(ctx, tx, runID)
	return slices.DeleteFunc(all, func(of *tables.Series) bool { return of.Probe == "" }), err
}

// Redated are readings that were moved in time alike, or whose right date is not known.
type Redated struct {
	Readings    int
	First, Last time.Time     // their dates before
	By          time.Duration // how far they were moved; 0 = they stay, with an uncertain date
}

// Redate moves readings of a run's probes that have an uncertain date to the date that
// follows from the time since the machine's start and from certain dates of the same start.
// Marks of the same period move with them. It returns what has moved, and what stays.
func (s *Store) Redate(ctx context.Context, runName string, now time.Time) (all []Redated, stale bool, err error) {
	err = s.update(ctx, runName, func(tx *sql.Tx, runID int64) error {
		all = nil
		if err := tables.Fold(ctx, tx, nil); err != nil {
			return err
		}
		probed, err := probeSeries(ctx, tx, runID)
		if err != nil {
			return err
		}
		starts, err := datesByBoot(ctx, tx, probed)
		if err != nil {
			return err
		}
		all, stale, err = redate(ctx, tx, runID, probed, slices.Collect(maps.Values(starts)), func(boot int32) *bootDates { return starts[boot] }, now)
		return err
	})
	return all, stale, err
}

// RedateTo moves the readings of a run's probes from one moment until before another so that
// the first of them has a date; the zero until is the end.
func (s *Store) RedateTo(ctx context.Context, runName string, since, until, to, now time.Time) (all []Redated, stale bool, err error) {
	first, last := Selection{Since: since, Until: until}.Limits()
	err = s.update(ctx, runName, func(tx *sql.Tx, runID int64) error {
		all = nil
		if err := tables.Fold(ctx, tx, nil); err != nil {
			return err
		}
		probed, err := probeSeries(ctx, tx, runID)
		if err != nil {
			return err
		}
		within := func(w tables.Written) bool { return w.At >= first && w.At <= last }
		for _, of := range probed { // so that no reading moves twice
			if _, err := tables.Requalify(ctx, tx, of, first, last, within, reading.ClockUncertain, true); err != nil {
				return err
			}
		}
		whole := &bootDates{}
		if err := uncertain(ctx, tx, probed, func(r *chunk.Record) {
			if r.Quality&reading.ClockUncertain != 0 && r.At >= first && r.At <= last {
				whole.note(r)
			}
		}); err != nil || whole.n == 0 {
			return err
		}
		whole.fixed = nanoseconds(to) - whole.first
		if !reading.Storable(to) || !reading.Storable(time.Unix(0, whole.last).Add(time.Duration(whole.fixed))) {
			return fault.Fault{Key: "to", Text: "outside the years 1970 to 2262"}
		}
		all, stale, err = redate(ctx, tx, runID, probed, []*bootDates{whole}, func(int32) *bootDates { return whole }, now)
		return err
	})
	return all, stale, err
}

// bootDates is what is known of the readings of one start of the machine whose date is
// uncertain.
type bootDates struct {
	n           int   // readings with an uncertain date
	first, last int64 // their dates
	right       int64 // date of the machine's start, from the earliest reading with a certain date …
	since       int64 // … and how long after the start that reading was taken; 0 = there is none
	fixed       int64 // by how much all readings move; 0 = computed from right

	moved, by int64 // number of moved readings, and by how much
}

// minShift is the smallest shift by which readings are moved. Ordinary corrections of the clock
// are smaller.
const minShift = int64(2 * time.Second)

// shift returns by how much a reading with an uncertain date is to be moved.
func (b *bootDates) shift(r *chunk.Record) int64 {
	if b.fixed != 0 {
		return b.fixed
	}
	if b.since == 0 || r.Boot == 0 || r.Clock == 0 {
		return 0
	}
	if by := b.right - r.Clock; max(by, -by) >= minShift {
		return by
	}
	return 0
}

func (b *bootDates) note(r *chunk.Record) {
	if b.n == 0 {
		b.first, b.last = r.At, r.At
	}
	b.n++
	b.first, b.last = min(b.first, r.At), max(b.last, r.At)
}

// datesByBoot finds for each start of the machine which readings have an uncertain date, and
// by how much it is wrong.
func datesByBoot(ctx context.Context, tx *sql.Tx, series []*tables.Series) (map[int32]*bootDates, error) {
	starts := map[int32]*bootDates{}
	err := uncertain(ctx, tx, series, func(r *chunk.Record) {
		b := starts[r.Boot]
		if b == nil {
			b = &bootDates{}
			starts[r.Boot] = b
		}
		switch {
		case r.Quality&reading.ClockUncertain != 0:
			b.note(r)
		case r.Clock != 0 && (b.since == 0 || r.At-r.Clock < b.since):
			b.since, b.right = r.At-r.Clock, r.Clock
		}
	})
	return starts, err
}

// uncertain calls a function with each record of series, chunk by chunk. Damaged chunks are
// left out.
func uncertain(ctx context.Context, tx *sql.Tx, series []*tables.Series, do func(*chunk.Record)) error {
	var m chunk.Moments
	var v chunk.Values
	var records []chunk.Record
	for _, of := range series {
		list, err := tables.Chunks(ctx, tx, of, tables.Beginning, tables.End)
		if err != nil {
			return err
		}
		for i := range list {
			if err := list[i].Load(ctx, tx, &m, &v); tables.Broken(err) {
				continue
			} else if err != nil {
				return err
			}
			records = chunk.AppendRecords(records[:0], &m, &v)
			for k := range records {
				do(&records[k])
			}
		}
	}
	return nil
}

// redate moves the readings of series, and the marks of the same periods.
func redate(ctx context.Context, tx *sql.Tx, runID int64, series []*tables.Series, starts []*bootDates, of func(boot int32) *bootDates, now time.Time) (all []Redated, stale bool, err error) {
	starts = slices.DeleteFunc(starts, func(b *bootDates) bool { return b.n == 0 })
	slices.SortFunc(starts, func(a, b *bootDates) int { return cmp.Compare(a.first, b.first) })
	if len(starts) == 0 {
		return nil, false, nil
	}
	last := int64(tables.Beginning)
	for _, b := range starts {
		last = max(last, b.last)
	}
	for _, its := range series {
		if _, err := tables.Redate(ctx, tx, its, starts[0].first, last, func(r *chunk.Record) int64 {
			b := of(r.Boot)
			by := b.shift(r)
			if by != 0 {
				b.moved, b.by = b.moved+1, by
			}
			return by
		}); err != nil {
			return nil, false, err
		}
	}
	any := false
	for _, b := range starts {
		one := Redated{int(b.moved), time.Unix(0, b.first).UTC(), time.Unix(0, b.last).UTC(), time.Duration(b.by)}
		if stay := b.n - int(b.moved); stay > 0 {
			all = append(all, Redated{stay, one.First, one.Last, 0})
		}
		if b.moved == 0 {
			continue
		}
		all, any = append(all, one), true
		if err := events.Move(ctx, tx, runID, b.first-markMargin, b.last+markMargin, b.by); err != nil {
			return nil, false, err
		}
		if err := events.Add(ctx, tx, runID, Mark{Time: now, Kind: events.Redated, Text: fmt.Sprintf("%d readings dated from %s to %s were moved by %v",
			one.Readings, one.First.Format(time.RFC3339), one.Last.Format(time.RFC3339), one.By)}); err != nil {
			return nil, false, err
		}
	}
	if any {
		if err := noteMoved(ctx, tx, runID, starts, now); err != nil {
			return nil, false, err
		}
		stale, err = dropStates(ctx, tx, runID)
	}
	return all, stale, err
}

// noteMoved notes that the readings of a period have changed that has all their old and new dates.
func noteMoved(ctx context.Context, tx *sql.Tx, runID int64, starts []*bootDates, now time.Time) error {
	first, last := int64(tables.End), int64(tables.Beginning)
	for _, b := range starts {
		first, last = min(first, b.first, b.first+b.by), max(last, b.last, b.last+b.by)
	}
	return delivery.Changed(ctx, tx, runID, first, last, now)
}

// markMargin is how long before the first of readings and after the last a mark belongs to them:
// the start of the watch that took them, and its end.
const markMargin = int64(time.Minute)
