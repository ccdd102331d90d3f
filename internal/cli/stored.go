package cli

import (
	"context"
	"io"
	"iter"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"ohmkeep/internal/central/archive"
	"ohmkeep/internal/central/postgres"
	"ohmkeep/internal/central/ship"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/store"
	"ohmkeep/internal/watch/analysis"
)

// stored holds the flags that name where stored readings come from: a store, or a central database.
type stored struct {
	store, db, site string
	by              central
}

func (f *stored) flags(c *cobra.Command, store string) {
	c.Flags().StringVar(&f.store, "store", "", store)
	c.Flags().StringVar(&f.db, "db", "", "instead of a store, the central database that the run is shipped to, such as postgres://user@host/ohmkeep")
	c.Flags().StringVar(&f.site, "site", "", "of a central database, the site; that of the run file if left out")
	f.by.flags(c)
	f.by.codesFlag(c)
}

// check returns an error unless one source is named.
func (f *stored) check(c *cobra.Command) error {
	switch {
	case f.store != "" && f.db != "":
		return callFault(c, "readings come from --store or from --db, not from both")
	case f.db == "" && f.site != "":
		return callFault(c, "--site belongs to --db URL")
	case f.db == "":
		return checkStoreFlag(c, f.store)
	}
	return nil
}

// opened is an open source of readings.
type opened struct {
	analysis.Reader
	name string // without a password
	io.Closer
}

func (o *opened) close() { _ = o.Close() }

// open opens what the flags name.
func (f *stored) open(c *cobra.Command, r *runWithProfiles) (*opened, error) {
	if f.db == "" {
		s, err := store.OpenReadOnly(f.store)
		if err != nil {
			return nil, err
		}
		return &opened{s, f.store, s}, nil
	}
	named, codes, err := f.by.named(r.Run)
	if err != nil {
		return nil, err
	}
	address, site := strings.Clone(f.db), f.site
	if site == "" {
		site = archive.SiteOf(named)
	}
	db, reader, err := openCentral(c, address, site, &f.by)
	if err != nil {
		return nil, err
	}
	return &opened{renamed{reader, named.Name, codes}, postgres.Redact(address), db}, nil
}

// renamed reads a run under the name that the central database has for it, and puts names in the
// place of codes.
type renamed struct {
	analysis.Reader
	name  string
	codes *ship.Codes // nil = there are none
}

func (r renamed) Readings(ctx context.Context, _ string, f store.Filter) iter.Seq2[reading.Reading, error] {
	return r.Reader.Readings(ctx, r.name, f)
}

func (r renamed) Marks(ctx context.Context, _ string, since, until time.Time) ([]store.Mark, error) {
	marks, err := r.Reader.Marks(ctx, r.name, since, until)
	if r.codes != nil {
		for i := range marks {
			marks[i].Text = r.codes.Names(marks[i].Text)
		}
	}
	return marks, err
}

// openCentral connects to a central database and finds a site.
func openCentral(c *cobra.Command, address, site string, by *central) (*postgres.DB, *archive.Reader, error) {
	o, err := by.options(c, address)
	if err != nil {
		return nil, nil, err
	}
	db, err := postgres.Connect(c.Context(), address, o)
	if err != nil {
		return nil, nil, err
	}
	reader, err := archive.NewReader(c.Context(), db, site)
	if err != nil {
		_ = db.Close()
		return nil, nil, err
	}
	return db, reader, nil
}
