package store

import (
	"cmp"
	"context"
	"database/sql"
	"math"
	"slices"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/store/internal/chunk"
	"ohmkeep/internal/store/internal/decimal"
	"ohmkeep/internal/store/internal/delivery"
	"ohmkeep/internal/store/internal/events"
	"ohmkeep/internal/store/internal/query"
	"ohmkeep/internal/store/internal/tables"
)

// Series is what readings have in common, with the form of their numbers.
type Series struct {
	Channel        // Scale is the corrected one
	Form    string // a Form as a string; "text" = numbers are kept as written
	// Number is the series' number in the store, in the order of which readings of a moment
	// follow each other.
	Number int64
	// Identity is a checksum of all other fields but Number: the same in every store.
	Identity int64
}

// Sent is a reading as it is sent elsewhere. Readings that are not measured values are included.
type Sent struct {
	Series   *Series
	At       int64 // ns since 1970
	Zone     int32 // s east of UTC
	Quality  reading.Quality
	Text     string // as sent by the instrument; of a register, its counts times the value of one
	Count    int64  // of a register
	Rank     int32  // order among readings of a moment, before that of their series
	Nth      int32  // order among readings of a series and moment, from 0
	Revision int64  // newest revision that covers the reading; 0 = it was never changed
}

// Revision is a change of stored readings of a period: those that were sent before with a lower
// number are replaced.
type Revision = delivery.Revision

// Delivery is what has to be sent of a run to a destination.
type Delivery struct {
	Series    []*Series // all of the run, in the order of their numbers
	Readings  []Sent    // in the order of time
	Revisions []Revision
	// Revised reports that there are new revisions: Marks are all the run's marks then, and
	// replace those that were sent before. Otherwise they are those added since the last
	// delivery.
	Revised bool
	Marks   []Mark
	More    bool      // there are more readings than were wanted
	Until   time.Time // every reading before it has arrived once these have

	run         int64
	destination string
	cursor      delivery.Cursor
}

// Empty reports whether there is nothing to send.
func (d *Delivery) Empty() bool {
	return len(d.Readings) == 0 && len(d.Marks) == 0 && !d.Revised
}

// Undelivered returns what has to be sent of a run to a destination: at least all readings of a
// moment, and about most of them. have is the moment up to which the destination itself says
// that it has all readings; the earlier one of that and the store's own record counts. The zero
// have means that the destination does not say.
func (s *Store) Undelivered(ctx context.Context, runName, destination string, have time.Time, most int) (*Delivery, error) {
	d := &Delivery{destination: destination}
	err := s.update(ctx, runName, func(tx *sql.Tx, runID int64) (err error) {
		d.run = runID
		d.cursor, err = delivery.Begin(ctx, tx, runID, destination)
		return err
	})
	if err != nil {
		return nil, err
	}
	from := d.cursor.Arrived
	if !have.IsZero() && nanoseconds(have) < from { // it has lost some
		from = nanoseconds(have)
		d.cursor.Marks, d.cursor.Revision = 0, 0
	}
	var damage tables.Damage
	err = s.db.View(ctx, func(tx *sql.Tx) (err error) {
		if d.Revisions, err = delivery.Revisions(ctx, tx, d.run); err != nil {
			return err
		}
		if n := len(d.Revisions); n > 0 && d.Revisions[n-1].ID > d.cursor.Revision {
			d.Revised, d.cursor.Marks, d.cursor.Revision = true, 0, d.Revisions[n-1].ID
		}
		if d.Marks, d.cursor.Marks, err = events.After(ctx, tx, d.run, d.cursor.Marks); err != nil {
			return err
		}
		damage, err = d.collect(ctx, tx, runName, from, most)
		return err
	})
	if err == nil && damage.Any() && len(d.Readings) == 0 {
		err = s.damaged(damage)
	}
	return d, err
}

// collect adds readings from a moment on.
func (d *Delivery) collect(ctx context.Context, tx *sql.Tx, runName string, from int64, most int) (tables.Damage, error) {
	series, err := Selection{Run: runName}.series(ctx, tx)
	if err != nil {
		return tables.Damage{}, err
	}
	known := map[*tables.Series]*Series{}
	for _, of := range series {
		x := &Series{Channel: *channel(runName, of), Form: of.Form, Number: of.ID}
		key := of.Key
		key.Scale = x.Scale
		x.Identity = int64(key.Identity(runName))
		known[of] = x
		d.Series = append(d.Series, x)
	}
	nth := map[*Series]int32{} // of the present moment
	at := int64(math.MinInt64)
	damage, err := query.Each(ctx, tx, series, from, tables.End, func(of *tables.Series, r *chunk.Record) bool {
		if r.At != at {
			if len(d.Readings) >= most {
				d.More = true
				return false
			}
			at = r.At
			clear(nth)
		}
		x := known[of]
		sent := Sent{Series: x, At: r.At, Zone: r.Zone, Quality: r.Quality, Text: r.Text, Rank: r.Rank, Nth: nth[x], Revision: d.revision(r.At)}
		nth[x]++
		if of.Form != tables.Texts {
			sent.Text = of.Text(r.Count)
		}
		if x.Scale != "" {
			sent.Count = r.Count
		}
		d.Readings = append(d.Readings, sent)
		return true
	})
	d.cursor.Arrived = from
	if len(d.Readings) > 0 {
		d.cursor.Arrived = at
		if at < tables.End {
			d.cursor.Arrived++
		}
	}
	if d.cursor.Arrived > 0 {
		d.Until = time.Unix(0, d.cursor.Arrived).UTC()
	}
	return damage, err
}

// revision returns the newest revision that covers a moment, or 0.
func (d *Delivery) revision(at int64) int64 {
	for i := len(d.Revisions) - 1; i >= 0; i-- {
		if r := d.Revisions[i]; r.First <= at && at <= r.Last {
			return r.ID
		}
	}
	return 0
}

// Delivered records that what Undelivered returned has arrived.
func (s *Store) Delivered(ctx context.Context, d *Delivery) error {
	return s.db.Update(ctx, func(tx *sql.Tx) error {
		return delivery.Finish(ctx, tx, d.run, d.destination, d.cursor)
	})
}

// Receiver converts readings that were sent elsewhere back to readings.
type Receiver struct {
	series map[*Series]*tables.Series
	zones  zones
}

// Reading returns what Readings returns of a reading in the store that it came from.
func (v *Receiver) Reading(x *Sent) (reading.Reading, error) {
	of := v.series[x.Series]
	if of == nil {
		c := &x.Series.Channel
		var err error
		if of, err = tables.Restore(tables.Key{Probe: c.Probe, Step: c.Step, Quantity: c.Quantity, From: c.From, To: c.To, Unit: c.Unit,
			Meter: c.Meter, Form: x.Series.Form, Scale: c.Scale}); err != nil {
			return reading.Reading{}, err
		}
		if v.series == nil {
			v.series = map[*Series]*tables.Series{}
		}
		v.series[x.Series] = of
	}
	r := chunk.Record{At: x.At, Zone: x.Zone, Quality: x.Quality, Count: x.Count}
	switch {
	case of.Form == tables.Texts:
		r.Text = x.Text
	case of.Scale == "":
		r.Count, _, _ = decimal.Parse(x.Text)
	}
	return readingOf(of, &r, v.zones.time(x.At, x.Zone))
}

// SortMoment sorts the readings of one moment as Readings returns them.
func SortMoment(all []Sent) {
	if len(all) < 2 {
		return
	}
	queues := map[*Series][]Sent{}
	slices.SortFunc(all, func(a, b Sent) int { return cmp.Compare(a.Nth, b.Nth) })
	for _, x := range all {
		queues[x.Series] = append(queues[x.Series], x)
	}
	for i := range all {
		var first *Sent
		for _, q := range queues {
			if x := &q[0]; first == nil || x.Rank < first.Rank || x.Rank == first.Rank && x.Series.Number < first.Series.Number {
				first = x
			}
		}
		all[i] = *first
		if q := queues[first.Series][1:]; len(q) > 0 {
			queues[first.Series] = q
		} else {
			delete(queues, first.Series)
		}
	}
}
