package store

import (
	"context"
	"database/sql"
	"math"
	"slices"
	"time"

	"ohmkeep/internal/archive"
	"ohmkeep/internal/indication"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// Channel is what samples have in common, apart from the form of their numbers.
// Channels can be compared with ==.
type Channel struct {
	Run      string
	Probe    string // "" = imported or taken by hand
	Step     string // "" = not known
	Quantity run.Quantity
	From, To string // as in a reading
	Unit     string // V, mV, uV, A, mA, uA, degC
	Meter    string
	// Scale is what one count stands for, in the unit, where the samples are the
	// words of a register: "0.00125". It is "" where they are numbers.
	Scale string
}

// Quality says what is known against a sample.
type Quality = indication.Quality

// The bits of a Quality; 0 is a good sample. Overload, Saturated,
// Unsettled and Faulty samples are no measured values: Readings, Blocks' consumers and MinMeanMax
// leave them out.
const (
	Overload       = indication.Overload
	Saturated      = indication.Saturated
	Unsettled      = indication.Unsettled
	ClockUncertain = indication.ClockUncertain
	Faulty         = indication.Faulty
)

// Selection says which samples are wanted. Of a run all are, unless more is said.
type Selection struct {
	Run          string
	Probe        *string       // of this probe; nil = of any
	Step         *string       // of this step; nil = of any
	Quantity     *run.Quantity // nil = any
	From, To     string        // between these places; From "" = any
	Since, Until time.Time     // not before; before. Zero = from the beginning, to the end
}

func (sel Selection) takes(s *archive.Series) bool {
	return (sel.Probe == nil || *sel.Probe == s.Probe) && (sel.Step == nil || *sel.Step == s.Step) &&
		(sel.Quantity == nil || *sel.Quantity == s.Quantity) && (sel.From == "" || sel.From == s.From && sel.To == s.To)
}

// series gives the series that are selected.
func (sel Selection) series(ctx context.Context, tx *sql.Tx) ([]*archive.Series, error) {
	runID, err := archive.FindRun(ctx, tx, sel.Run)
	if err != nil || runID == 0 {
		return nil, err
	}
	all, err := archive.All(ctx, tx, runID)
	return slices.DeleteFunc(all, func(s *archive.Series) bool { return !sel.takes(s) }), err
}

// limits gives the first and the last moment of a selection as they are stored.
func (sel Selection) limits() (first, last int64) {
	first, last = math.MinInt64, math.MaxInt64
	if !sel.Since.IsZero() {
		first = nanoseconds(sel.Since)
	}
	if !sel.Until.IsZero() {
		last = nanoseconds(sel.Until.Add(-1))
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

// channel gives what a series is called outside.
func channel(runName string, s *archive.Series) *Channel {
	c := &Channel{Run: runName, Probe: s.Probe, Step: s.Step, Quantity: s.Quantity, From: s.From, To: s.To,
		Unit: s.Unit, Meter: s.Meter, Scale: s.Scale}
	if s.Corrected != "" {
		c.Scale = s.Corrected
	}
	return c
}
