// Package writer stores the samples of probes for years, one commit at a time. A store has
// at most one Writer.
//
// A commit is one row of the tail, which writes few bytes to the disk. After 256 commits,
// or 65,536 readings, the tail is folded into chunks. All state is in the store, so a
// restarted writer continues where the last one stopped.
package writer

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/store/internal/chunk"
	"ohmkeep/internal/store/internal/decimal"
	"ohmkeep/internal/store/internal/delivery"
	"ohmkeep/internal/store/internal/events"
	"ohmkeep/internal/store/internal/sqlitefile"
	"ohmkeep/internal/store/internal/tables"
)

// Sample is one indication of a channel, as the probe sent it.
type Sample struct {
	Channel Handle
	Time    time.Time     // wall clock, with the offset from UTC that is stored
	Mono    time.Duration // since the start of the machine; 0 = not known
	Quality reading.Quality
	// Text is the number as sent. If it is "", Count is the word of a register (of a channel
	// with a Scale) or the count of a number in the form Form.
	Text  string
	Count int64
	Form  decimal.Form
}

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
	// Scale is the value of one count, in the unit, if the samples are words of a register, such as
	// "0.00125"; "" if they are numbers.
	Scale string
}

// Handle refers to a channel of a Writer.
type Handle int

// Writer writes samples to a store that it has claimed. It is for one goroutine only.
//
// Monotonic times take almost no space while the difference between wall clock and monotonic
// clock is constant. A caller should measure that difference once, rounded to 1 ms, compute wall
// times from monotonic ones, and measure it again only when the wall clock has moved by more than
// a few ms.
type Writer struct {
	db    *sqlitefile.DB
	claim *sqlitefile.Claim
	boot  int32

	channels []writerChannel
	handles  map[Channel]Handle

	commits, readings int            // in the tail
	namedInTail       map[int64]bool // series whose names the tail holds
	foldAfter         int            // commits
}

// writerChannel is a channel of a writer with the series it has had.
type writerChannel struct {
	Channel
	series []writerSeries // one for each form of its numbers, usually one
	sign   bool           // numbers of 0 and above carry a plus sign
	scaled bool
}

type writerSeries struct {
	form    decimal.Form
	section chunk.Section // its records in the present commit
}

const (
	maxTailCommits  = 256     // number of commits in the tail at which it is folded into chunks
	maxTailReadings = 1 << 16 // number of readings in the tail at which it is folded
	minDirect       = 1 << 14 // commits with this number of readings or more go into chunks directly
)

// Owner is the program that uses a Writer.
type Owner struct {
	Name string // as shown to the user of another program, such as "ohmkeep watch shelf.toml"
	// Address is where the program answers over HTTP, host:port; "" = nowhere.
	Address string
	Boot    string // names the start of the machine, such as the kernel's boot_id; "" = not known
	// FoldAfter is the number of commits in the tail at which it is folded; 0 = 256.
	FoldAfter int
}

// New claims a store for a program. If another program has claimed it, the error is a fault
// that names it.
func New(ctx context.Context, db *sqlitefile.DB, owner Owner) (*Writer, error) {
	if db.Write == nil {
		return nil, fault.Fault{File: db.Path, Text: "the store was opened for reading only"}
	}
	claim, err := db.Claim(owner.Name, owner.Address)
	if err != nil {
		return nil, err
	}
	w := &Writer{db: db, claim: claim, handles: map[Channel]Handle{}, foldAfter: cmp.Or(owner.FoldAfter, maxTailCommits)}
	err = db.KeepLog(ctx)
	if err == nil {
		err = db.Update(ctx, func(tx *sql.Tx) error {
			if w.commits, w.readings, err = tables.TailSize(ctx, tx); err != nil || owner.Boot == "" {
				return err
			}
			id, err := events.EnsureStart(ctx, tx, owner.Boot, time.Now())
			w.boot = int32(id)
			return err
		})
	}
	if err != nil {
		return nil, errors.Join(err, claim.Release())
	}
	return w, nil
}

// At sets the address at which the program answers over HTTP.
func (w *Writer) At(address string) error { return w.claim.At(address) }

// Close releases the claim to write. The store stays open.
func (w *Writer) Close() error { return w.claim.Release() }

// Channel returns the handle of a channel. The same channel has the same handle.
func (w *Writer) Channel(c Channel) (Handle, error) {
	if h, ok := w.handles[c]; ok {
		return h, nil
	}
	if _, ok := reading.PerSI(c.Quantity, c.Unit); !ok {
		return 0, fault.Fault{Key: "unit", Text: fmt.Sprintf("a %s is not given in %q", c.Quantity, c.Unit)}
	}
	if c.Scale != "" {
		if _, err := decimal.ParseScale(c.Scale); err != nil {
			return 0, err
		}
	}
	h := Handle(len(w.channels))
	w.channels = append(w.channels, writerChannel{Channel: c, scaled: c.Scale != ""})
	w.handles[c] = h
	return h, nil
}

// RunMark is a mark and the run that it belongs to.
type RunMark struct {
	Run string
	events.Mark
}

// Append stores samples and marks in one commit: all or none. When it returns without an error they
// are safe on disk. Samples of any channels and in any order of time may be mixed. A sample that is
// marked as measured but is not a number causes an error that names it.
func (w *Writer) Append(ctx context.Context, samples []Sample, marks ...RunMark) error {
	if len(samples) == 0 && len(marks) == 0 {
		return nil
	}
	for i, m := range marks {
		if !reading.Storable(m.Time) {
			return fmt.Errorf("mark %d of %d: %w", i+1, len(marks), fault.Fault{Key: "time", Text: "outside the years 1970 to 2262"})
		}
	}
	for i := range samples {
		if err := w.checkSample(&samples[i]); err != nil {
			return fmt.Errorf("sample %d of %d: %w", i+1, len(samples), err)
		}
	}
	if err := w.db.Displaced(); err != nil {
		return err
	}
	commits, readings := w.commits+min(1, len(samples)), w.readings+len(samples)
	fold := commits > w.foldAfter || readings > maxTailReadings || len(samples) >= minDirect
	err := w.db.Update(ctx, func(tx *sql.Tx) error {
		if err := addMarks(ctx, tx, marks); err != nil {
			return err
		}
		sections, err := w.sections(ctx, tx, samples)
		if err == nil {
			err = w.noteAdded(ctx, tx, samples)
		}
		switch {
		case err != nil:
			return err
		case len(samples) == 0:
			return nil
		case fold:
			return tables.Fold(ctx, tx, sections)
		}
		return tables.AppendTail(ctx, tx, sections, w.unnamed(sections))
	})
	switch {
	case err != nil:
		// Series created in the transaction do not exist after a rollback.
		for i := range w.channels {
			w.channels[i].series = nil
		}
		w.namedInTail = nil
	case fold && len(samples) > 0:
		w.commits, w.readings, w.namedInTail = 0, 0, nil
	default:
		w.commits, w.readings = commits, readings
	}
	return err
}

// noteAdded notes for each run the earliest of its samples, which may have to be sent elsewhere.
func (w *Writer) noteAdded(ctx context.Context, tx *sql.Tx, samples []Sample) error {
	earliest := map[string]int64{}
	for i := range samples {
		name, at := w.channels[samples[i].Channel].Run, samples[i].Time.UnixNano()
		if first, known := earliest[name]; !known || at < first {
			earliest[name] = at
		}
	}
	for name, at := range earliest {
		runID, err := tables.FindRun(ctx, tx, name)
		if err == nil {
			err = delivery.Added(ctx, tx, runID, at)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// addMarks adds marks to their runs.
func addMarks(ctx context.Context, tx *sql.Tx, marks []RunMark) error {
	for _, m := range marks {
		runID, err := tables.EnsureRun(ctx, tx, m.Run)
		if err == nil {
			err = events.Add(ctx, tx, runID, m.Mark)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// maxText is the largest number of bytes of a sample's text.
const maxText = 256

// Fold moves the tail into chunks now. Append does so when the tail is full; a program may call
// Fold when it is idle.
func (w *Writer) Fold(ctx context.Context) error {
	err := w.db.Update(ctx, func(tx *sql.Tx) error { return tables.Fold(ctx, tx, nil) })
	if err == nil {
		w.commits, w.readings, w.namedInTail = 0, 0, nil
	}
	return err
}
