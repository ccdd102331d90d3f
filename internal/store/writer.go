package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"time"

	"ohmkeep/internal/archive"
	"ohmkeep/internal/chunk"
	"ohmkeep/internal/database"
	"ohmkeep/internal/fault"
	"ohmkeep/internal/indication"
	"ohmkeep/internal/reading"
)

// Sample is one indication of a channel, as a probe gave it.
type Sample struct {
	Channel Handle
	Time    time.Time     // wall clock, with the offset that a reading is to show
	Mono    time.Duration // since the start of the machine; 0 = not known
	Quality Quality
	// Text is the number as sent. Where it is "", Count is: the word of a register
	// (of a channel with a Scale), or a number in the form Form.
	Text  string
	Count int64
	Form  indication.Form
}

// Handle stands for a channel of a Writer.
type Handle int

// Writer is the one that keeps writing to a store. It belongs to one goroutine.
//
// A monotonic time costs next to nothing as long as wall clock and monotonic
// clock keep their distance. Take the distance once, rounded to ms, make wall
// times from monotonic ones with it, and take it again only when the wall clock
// has moved by more than some ms.
type Writer struct {
	store *Store
	claim *database.Claim
	boot  int32

	channels []writerChannel
	handles  map[Channel]Handle

	commits, readings int // in the tail
	items             []archive.Item
}

// writerChannel is a channel of a writer with the series it has had.
type writerChannel struct {
	Channel
	series []writerSeries // few: numbers of a channel hardly change their form
	sign   bool           // numbers of 0 and above carry a plus sign
	scaled bool
}

type writerSeries struct {
	form indication.Form
	text bool
	id   int64
}

// How much the tail may hold before it is folded into chunks.
const (
	mostCommits  = 256
	mostReadings = 1 << 16
)

// Owner is a program that keeps a store.
type Owner struct {
	Name string // what a second program is told, such as "ohmkeep watch shelf.toml"
	Boot string // names the start of the machine, such as the kernel's boot_id; "" = not known
}

// Writer makes a program the one that keeps writing to the store. Where another
// one is already, the error is a fault that names it. Appends of other programs
// are still possible.
func (s *Store) Writer(ctx context.Context, owner Owner) (*Writer, error) {
	if s.db.Write == nil {
		return nil, fault.Fault{File: s.db.Path, Text: "the store was opened for reading only"}
	}
	claim, err := s.db.Claim(owner.Name)
	if err != nil {
		return nil, err
	}
	w := &Writer{store: s, claim: claim, handles: map[Channel]Handle{}}
	err = s.db.KeepLog(ctx)
	if err == nil {
		err = s.db.Update(ctx, func(tx *sql.Tx) error {
			if w.commits, w.readings, err = archive.TailSize(ctx, tx); err != nil || owner.Boot == "" {
				return err
			}
			id, err := archive.EnsureBoot(ctx, tx, owner.Boot, time.Now().UnixNano())
			w.boot = int32(id)
			return err
		})
	}
	if err != nil {
		return nil, errors.Join(err, claim.Release())
	}
	return w, nil
}

// Close gives up the writing. The store stays open.
func (w *Writer) Close() error { return w.claim.Release() }

// Channel gives the handle of a channel. The same channel has the same handle.
func (w *Writer) Channel(c Channel) (Handle, error) {
	if h, ok := w.handles[c]; ok {
		return h, nil
	}
	if _, ok := reading.PerSI(c.Quantity, c.Unit); !ok {
		return 0, fault.Fault{Key: "unit", Text: fmt.Sprintf("a %s is not given in %q", c.Quantity, c.Unit)}
	}
	if c.Scale != "" {
		if _, err := indication.ParseScale(c.Scale); err != nil {
			return 0, err
		}
	}
	h := Handle(len(w.channels))
	w.channels = append(w.channels, writerChannel{Channel: c, scaled: c.Scale != ""})
	w.handles[c] = h
	return h, nil
}

// Append stores samples in one commit: all or none. When it returns without an
// error they are safe on disk. Samples of any channels and in any order of time
// may stand beside each other. A sample that is no number, but is said to be a
// measured one, makes an error that names it.
func (w *Writer) Append(ctx context.Context, samples []Sample) error {
	if len(samples) == 0 {
		return nil
	}
	for i := range samples {
		if err := w.sound(&samples[i]); err != nil {
			return fmt.Errorf("sample %d of %d: %w", i+1, len(samples), err)
		}
	}
	commits, readings := w.commits+1, w.readings+len(samples)
	fold := commits > mostCommits || readings > mostReadings
	err := w.store.db.Update(ctx, func(tx *sql.Tx) error {
		sections, err := w.sections(ctx, tx, samples)
		switch {
		case err != nil:
			return err
		case fold:
			return archive.Fold(ctx, tx, sections)
		}
		return archive.AppendTail(ctx, tx, sections)
	})
	switch {
	case err != nil:
		// What was learnt about series in a transaction that is undone is not so.
		for i := range w.channels {
			w.channels[i].series = nil
		}
	case fold:
		w.commits, w.readings = 0, 0
	default:
		w.commits, w.readings = commits, readings
	}
	return err
}

// longest is how long the text of a sample may be, in bytes.
const longest = 256

func (w *Writer) sound(x *Sample) error {
	switch {
	case x.Channel < 0 || int(x.Channel) >= len(w.channels):
		return fault.Fault{Text: "its channel is not one of this writer"}
	case !reading.Storable(x.Time):
		return fault.Fault{Key: "time", Text: "outside the years 1970 to 2262"}
	case len(x.Text) > longest:
		return fault.Fault{Key: "value", Text: fmt.Sprintf("longer than %d bytes", longest)}
	case x.Count > indication.MaxCount || x.Count < -indication.MaxCount:
		return fault.Fault{Key: "value", Text: fmt.Sprintf("%d counts are more than any instrument has", x.Count)}
	case x.Text == "":
		return nil
	}
	c := &w.channels[x.Channel]
	if c.scaled {
		return fault.Fault{Key: "value", Text: "a register's word is given as a count"}
	}
	if x.Quality.Measured() {
		_, err := reading.Value(c.Quantity, x.Text, c.Unit)
		return err
	}
	return nil
}

// sections sorts samples by their series, and within each by their time.
func (w *Writer) sections(ctx context.Context, tx *sql.Tx, samples []Sample) ([]chunk.Section, error) {
	w.items = slices.Grow(w.items[:0], len(samples))
	for i := range samples {
		x := &samples[i]
		item, err := w.item(ctx, tx, x)
		if err != nil {
			return nil, err
		}
		w.items = append(w.items, item)
	}
	return archive.Sorted(w.items), nil
}

func (w *Writer) item(ctx context.Context, tx *sql.Tx, x *Sample) (item archive.Item, err error) {
	c := &w.channels[x.Channel]
	item.At, item.Quality = x.Time.UnixNano(), x.Quality
	if x.Time.Location() != time.UTC {
		_, zone := x.Time.Zone()
		item.Zone = int32(zone)
	}
	if x.Mono != 0 {
		item.Clock, item.Boot = item.At-int64(x.Mono), w.boot
	}
	form := x.Form
	if x.Text == "" {
		item.Count = x.Count
	} else if count, f, ok := indication.Parse(x.Text); ok {
		item.Count, form = count, f
		if count < 0 && c.sign {
			form.Plus = true
		}
		c.sign = form.Plus
	} else {
		item.Text, item.Texts, form = x.Text, true, indication.Form{}
	}
	for i := range c.series {
		if known := &c.series[i]; known.form == form && known.text == item.Texts {
			item.Series = known.id
			return item, nil
		}
	}
	item.Series, err = w.series(ctx, tx, c, form, item.Texts)
	return item, err
}

// series finds or makes a series that a channel needs for the first time.
func (w *Writer) series(ctx context.Context, tx *sql.Tx, c *writerChannel, form indication.Form, text bool) (int64, error) {
	runID, err := archive.EnsureRun(ctx, tx, c.Run)
	if err == nil {
		err = archive.EnsureSource(ctx, tx, runID, c.Probe)
	}
	if err != nil {
		return 0, err
	}
	k := archive.Key{Run: runID, Probe: c.Probe, Step: c.Step, Quantity: c.Quantity, From: c.From, To: c.To,
		Unit: c.Unit, Meter: c.Meter, Form: form.String(), Scale: c.Scale}
	if text {
		k.Form = archive.Texts
	}
	id, err := archive.Ensure(ctx, tx, k)
	if err == nil {
		c.series = append(c.series, writerSeries{form, text, id})
	}
	return id, err
}

// Fold moves the tail into chunks now. The writer does so by itself from time to
// time; a program may do it where nobody waits.
func (w *Writer) Fold(ctx context.Context) error {
	err := w.store.db.Update(ctx, func(tx *sql.Tx) error { return archive.Fold(ctx, tx, nil) })
	if err == nil {
		w.commits, w.readings = 0, 0
	}
	return err
}
