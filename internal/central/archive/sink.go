package archive

import (
	"context"
	"fmt"
	"time"

	"ohmkeep/internal/central/postgres"
	"ohmkeep/internal/central/ship"
	"ohmkeep/internal/fault"
	"ohmkeep/internal/run"
	"ohmkeep/internal/store"
)

// Sink sends a run to the central database.
type Sink struct {
	address string
	o       postgres.Options
	site    string
	run     string

	batch    int
	takeOver bool
	store    string // identity of the store
	db       *postgres.DB
	siteID   int64
	months   map[int64]bool // whose partitions exist
	series   map[int64]bool // that are in the database
}

// NewSink returns a destination of a run: the database at a URL. Nothing is connected before Have.
func NewSink(address string, o postgres.Options, r *run.Run) *Sink {
	return &Sink{address: address, o: o, site: SiteOf(r), run: r.Name, batch: batchFor(o.BytesPerSecond)}
}

// TakeOver makes the store that is sent next the one that sends the run, in place of another.
func (s *Sink) TakeOver() { s.takeOver = true }

// bytesPerReading is about how many bytes a reading is on the wire.
const bytesPerReading = 80

// batchFor returns the number of readings that a limited connection sends in about a minute.
func batchFor(bytesPerSecond int) int {
	if bytesPerSecond == 0 {
		return ship.MaxBatch
	}
	return min(ship.MaxBatch, max(100, 60*bytesPerSecond/bytesPerReading))
}

// Batch returns about how many readings are sent in one transaction.
func (s *Sink) Batch() int { return s.batch }

// SiteOf returns the site of a run: that of its file, or else the run by itself.
func SiteOf(r *run.Run) string {
	if r.Site != "" {
		return r.Site
	}
	return r.Name
}

// Name returns the database's address without a password.
func (s *Sink) Name() string { return postgres.Redact(s.address) }

// Permanent reports whether an error needs a person.
func (s *Sink) Permanent(err error) bool { return postgres.Permanent(err) }

// Close ends the connection.
func (s *Sink) Close() error {
	if s.db == nil {
		return nil
	}
	err := s.db.Close()
	s.db = nil
	return err
}

// open connects, brings the schema up to date, and finds the site.
func (s *Sink) open(ctx context.Context) error {
	if s.db != nil {
		return nil
	}
	db, err := postgres.Connect(ctx, s.address, s.o)
	if err != nil {
		return err
	}
	s.db, s.months, s.series = db, map[int64]bool{}, map[int64]bool{}
	err = db.Migrate(ctx)
	if err == nil {
		err = s.enter(ctx)
	}
	if err != nil {
		_ = s.Close()
	}
	return err
}

// enter finds the number of the site. A role that belongs to another site is an error.
func (s *Sink) enter(ctx context.Context) error {
	row, found, err := s.db.One(ctx, "SELECT id, name FROM ohmkeep.enter($1, $2, $3)", s.site, s.store, s.takeOver)
	switch {
	case err != nil:
		return err
	case !found:
		return fault.Fault{Text: fmt.Sprintf("the central database knows no site %q", s.site)}
	case row.Text(1) != s.site:
		return fault.Fault{Key: "site", Text: fmt.Sprintf("the role in the address appends for site %q, and the run file says %q", row.Text(1), s.site),
			Hint: "each site has a role of its own"}
	}
	s.siteID = row.Int(0)
	return nil
}

// Have connects, and returns what the database has of the run.
func (s *Sink) Have(ctx context.Context, identity string, confirmed int64) (have store.Arrived, err error) {
	s.store = identity
	if err := s.open(ctx); err != nil {
		return have, err
	}
	if have, err = s.receive(ctx, s.takeOver); err != nil {
		return have, err
	}
	s.takeOver = false
	have.Lost = have.Turn < confirmed
	err = s.db.Each(ctx, "SELECT id, first, last FROM ohmkeep.revisions($1, $2)", func(r postgres.Row) error {
		have.Revisions = append(have.Revisions, store.Revision{ID: r.Int(0), First: r.Int(1), Last: r.Int(2)})
		return nil
	}, s.siteID, s.run)
	return have, err
}

// receive makes sure that the run exists, and that this store is the one that sends it.
func (s *Sink) receive(ctx context.Context, takeOver bool) (store.Arrived, error) {
	row, _, err := s.db.One(ctx, "SELECT has_turn, has_whole, is_empty FROM ohmkeep.receive($1, $2, $3, $4)", s.siteID, s.run, s.store, takeOver)
	if err != nil {
		return store.Arrived{}, err
	}
	return store.Arrived{Turn: row.Int(0), Whole: row.Int(1), Empty: row.True(2)}, nil
}

// sendTimeout is the time-out of a batch, so that a connection that hangs is given up.
const sendTimeout = 10 * time.Minute

// Send adds readings and marks in one transaction.
func (s *Sink) Send(ctx context.Context, d *store.Delivery) error {
	ctx, cancel := context.WithTimeoutCause(ctx, sendTimeout, fmt.Errorf("%w: no answer in %v", postgres.ErrLost, sendTimeout))
	defer cancel()
	if err := s.prepare(ctx, d); err != nil {
		return err
	}
	return s.db.Within(ctx, func() error {
		if _, err := s.receive(ctx, false); err != nil {
			return err
		}
		for _, id := range d.Unknown {
			if _, err := s.db.Exec(ctx, "SELECT ohmkeep.abandon($1, $2, $3)", s.siteID, s.run, id); err != nil {
				return err
			}
		}
		if d.Revised {
			if err := s.sendRevisions(ctx, d.Revisions); err != nil {
				return err
			}
		}
		if err := s.add(ctx, markTable, s.markRows(d)); err != nil {
			return err
		}
		if err := s.add(ctx, readingTable, s.readingRows(d.Readings)); err != nil {
			return err
		}
		var until, whole any
		if !d.Until.IsZero() {
			until = d.Until.UnixNano()
		}
		if d.Whole {
			whole = d.Newest
		}
		_, err := s.db.Exec(ctx, "SELECT ohmkeep.received($1, $2, $3, $4, $5)", s.siteID, s.run, until, d.Turn, whole)
		return err
	})
}

// prepare adds partitions and series that a batch needs. Each is complete by itself.
func (s *Sink) prepare(ctx context.Context, d *store.Delivery) error {
	for i := range d.Readings {
		at := d.Readings[i].At
		t := time.Unix(0, at).UTC()
		month := int64(t.Year())*12 + int64(t.Month())
		if s.months[month] {
			continue
		}
		if _, err := s.db.Exec(ctx, "SELECT ohmkeep.month($1)", at); err != nil {
			return err
		}
		s.months[month] = true
	}
	for _, x := range d.Series {
		if s.series[x.Identity] {
			continue
		}
		if _, err := s.db.Exec(ctx, `INSERT INTO ohmkeep.series (site, id, run, position, probe, step, quantity, place_from, place_to, unit, meter, form, scale)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13) ON CONFLICT DO NOTHING`,
			s.siteID, x.Identity, s.run, x.Number, x.Probe, x.Step, x.Quantity.String(), x.From, x.To, x.Unit, x.Meter, x.Form, x.Scale); err != nil {
			return err
		}
		s.series[x.Identity] = true
	}
	return nil
}

func (s *Sink) sendRevisions(ctx context.Context, all []store.Revision) error {
	for _, r := range all {
		if _, err := s.db.Exec(ctx, "INSERT INTO ohmkeep.revision (site, run, id, first, last) VALUES ($1, $2, $3, $4, $5) ON CONFLICT DO NOTHING",
			s.siteID, s.run, r.ID, r.First, r.Last); err != nil {
			return err
		}
	}
	return nil
}
