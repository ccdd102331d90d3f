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

// Arrived is what a destination says that it has of a run. Zero = it does not say.
type Arrived struct {
	Turn      int64      // newest turn whose delivery it has; 0 = none
	Lost      bool       // it confirmed more than it has: it was restored from a backup
	Empty     bool       // it has no reading, so that no change can make a hole
	Whole     int64      // newest revision that has arrived whole
	Revisions []Revision // those that it knows, in the order of their numbers
}

// Delivery is what has to be sent of a run to a destination.
type Delivery struct {
	Series    []*Series // all of the run, in the order of their numbers
	Readings  []Sent    // in the order of time
	Revisions []Revision
	// Unknown are revisions that have begun to arrive, and that the store does not know: it was
	// restored from a backup since then, and the rest of them never comes.
	Unknown []int64
	// Revised reports that there are new revisions: Marks are all the run's marks then, and
	// replace those that were sent before. Otherwise they are those added since the last
	// delivery.
	Revised bool
	Marks   []Mark
	More    bool      // there are more readings than were wanted
	Until   time.Time // every reading before it has arrived once these have
	Turn    int64     // counts deliveries of a run to a destination
	Newest  int64     // newest revision; 0 = none
	Whole   bool      // the newest revision counts once these have arrived: nothing of what it replaces is missing

	run         int64
	destination string
	cursor      delivery.Cursor
}

// Empty reports whether there is nothing to send.
func (d *Delivery) Empty() bool {
	return len(d.Readings) == 0 && len(d.Marks) == 0 && !d.Revised
}

// Sender returns what a destination is asked with: the name by which it tells the store from others,
// and the newest turn of a run that it has confirmed; 0 = none. A copy of the store's file, such as a
// backup, has the same name.
func (s *Store) Sender(ctx context.Context, runName, destination string) (identity string, confirmed int64, err error) {
	look := func(tx *sql.Tx) (err error) {
		if confirmed, err = delivery.Confirmed(ctx, tx, runName, destination); err != nil {
			return err
		}
		identity, err = delivery.Identity(ctx, tx)
		return err
	}
	if err := s.db.View(ctx, look); err != nil || identity != "" {
		return identity, confirmed, err
	}
	err = s.db.Update(ctx, func(tx *sql.Tx) error {
		if err := delivery.Identify(ctx, tx, time.Now()); err != nil {
			return err
		}
		return look(tx)
	})
	return identity, confirmed, err
}

// Undelivered returns what has to be sent of a run to a destination: at least all readings of a
// moment, and about most of them. Either side may have been restored from a backup: to a destination
// that has lost something everything is sent again, and revisions that it has whole and the store
// does not know are adopted.
func (s *Store) Undelivered(ctx context.Context, runName, destination string, have Arrived, most int) (*Delivery, error) {
	d := &Delivery{destination: destination}
	err := s.update(ctx, runName, func(tx *sql.Tx, runID int64) (err error) {
		d.run = runID
		if d.cursor, err = delivery.Begin(ctx, tx, runID, destination, have.Turn, have.Lost); err != nil {
			return err
		}
		d.Turn = d.cursor.Turn
		return delivery.Adopt(ctx, tx, runID, have.Revisions[:arrivedWhole(have)])
	})
	if err != nil {
		return nil, err
	}
	var damage tables.Damage
	err = s.db.View(ctx, func(tx *sql.Tx) (err error) {
		if d.Revisions, err = delivery.Revisions(ctx, tx, d.run); err != nil {
			return err
		}
		if n := len(d.Revisions); n > 0 {
			d.Newest = d.Revisions[n-1].ID
		}
		for _, r := range have.Revisions[arrivedWhole(have):] {
			if !slices.Contains(d.Revisions, r) {
				d.Unknown = append(d.Unknown, r.ID)
			}
		}
		if d.Newest > d.cursor.Revision {
			d.Revised, d.cursor.Marks, d.cursor.Revision = true, 0, d.Newest
		}
		if d.Marks, d.cursor.Marks, err = events.After(ctx, tx, d.run, d.cursor.Marks); err != nil {
			return err
		}
		damage, err = d.collect(ctx, tx, runName, d.cursor.Arrived, most)
		return err
	})
	if err == nil && damage.Any() && len(d.Readings) == 0 {
		err = s.damaged(damage)
	}
	d.Whole = have.Empty || !damage.Any() && (!d.More || d.cursor.Arrived > d.end(have.Whole))
	return d, err
}

// arrivedWhole returns how many of the revisions that a destination knows have arrived whole.
func arrivedWhole(have Arrived) int {
	n := slices.IndexFunc(have.Revisions, func(r Revision) bool { return r.ID > have.Whole })
	if n < 0 {
		n = len(have.Revisions)
	}
	return n
}

// end returns the last moment of the revisions that are newer than one.
func (d *Delivery) end(whole int64) int64 {
	last := int64(math.MinInt64)
	for _, r := range d.Revisions {
		if r.ID > whole && r.First <= r.Last {
			last = max(last, r.Last)
		}
	}
	return last
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
