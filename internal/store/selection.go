package store

import (
	"context"
	"database/sql"
	"math"
	"slices"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/store/internal/decimal"
	"ohmkeep/internal/store/internal/sqlitefile"
	"ohmkeep/internal/store/internal/tables"
	"ohmkeep/internal/store/internal/writer"
)

// Types of package writer.
type (
	Writer  = writer.Writer
	Owner   = writer.Owner
	Channel = writer.Channel
	Handle  = writer.Handle
	Sample  = writer.Sample
	RunMark = writer.RunMark
)

// Holder is the program that has claimed a store: the only one that may use a Writer.
type Holder = sqlitefile.Holder

// FindHolder returns the program that has claimed the store at a path. It does not open
// the store. Where no program holds the claim, held is false.
func FindHolder(path string) (h Holder, held bool, err error) { return sqlitefile.FindHolder(path) }

// Writer claims the store for a program. If another program has claimed it, the error is a
// fault that names it. Other programs can still use Append.
func (s *Store) Writer(ctx context.Context, owner Owner) (*Writer, error) {
	return writer.New(ctx, s.db, owner)
}

// Form is how a sample's number was written.
type Form = decimal.Form

// Selection selects samples of a run: all, unless more fields are set.
type Selection struct {
	Run          string
	Probe        *string       // of this probe; nil = of any
	Step         *string       // of this step; nil = of any
	Quantity     *run.Quantity // nil = any
	From, To     string        // between these places; From "" = any
	Unit, Meter  *string       // in this unit, by this meter; nil = any
	Since, Until time.Time     // not before; before. Zero = from the beginning, to the end
}

// Takes reports whether samples of a channel are selected, whenever they were taken.
func (sel Selection) Takes(c *Channel) bool {
	return (sel.Probe == nil || *sel.Probe == c.Probe) && (sel.Step == nil || *sel.Step == c.Step) &&
		(sel.Quantity == nil || *sel.Quantity == c.Quantity) && (sel.From == "" || sel.From == c.From && sel.To == c.To) &&
		(sel.Unit == nil || *sel.Unit == c.Unit) && (sel.Meter == nil || *sel.Meter == c.Meter)
}

// series returns the series that are selected.
func (sel Selection) series(ctx context.Context, tx *sql.Tx) ([]*tables.Series, error) {
	runID, err := tables.FindRun(ctx, tx, sel.Run)
	if err != nil || runID == 0 {
		return nil, err
	}
	all, err := tables.All(ctx, tx, runID)
	return slices.DeleteFunc(all, func(s *tables.Series) bool { return !sel.Takes(channel(sel.Run, s)) }), err
}

// Limits returns the first and the last moment of a selection as they are stored, in ns since 1970.
func (sel Selection) Limits() (first, last int64) {
	first, last = math.MinInt64, math.MaxInt64
	if !sel.Since.IsZero() {
		first = nanoseconds(sel.Since)
	}
	if !sel.Until.IsZero() {
		last = nanoseconds(sel.Until.Add(-1))
	}
	return first, last
}

// nanoseconds returns a time as stored. A time outside the storable range becomes the nearest end
// of the int64 range.
func nanoseconds(t time.Time) int64 {
	switch {
	case reading.Storable(t):
		return t.UnixNano()
	case t.Unix() < 0:
		return math.MinInt64
	}
	return math.MaxInt64
}

// channel returns the Channel of a series.
func channel(runName string, s *tables.Series) *Channel {
	c := &Channel{Run: runName, Probe: s.Probe, Step: s.Step, Quantity: s.Quantity, From: s.From, To: s.To,
		Unit: s.Unit, Meter: s.Meter, Scale: s.Scale}
	if s.Corrected != "" {
		c.Scale = s.Corrected
	}
	return c
}
