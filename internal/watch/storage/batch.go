package storage

import (
	"context"
	"fmt"
	"strconv"
	"strings"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/store"
	"ohmkeep/internal/watch/recorder"
)

// committer writes batches of a recorder with a store's writer.
type committer struct {
	*store.Writer
	runFile string
	newBoot bool // the machine was started since the store was last written to
}

// maxText is the largest number of bytes of a sample's text in the store.
const maxText = 256

// maxCounts is the largest count that a store takes; no register has as many.
const maxCounts = 1 << 50

// commit stores the readings and marks of a batch in one transaction.
func (c committer) commit(ctx context.Context, b recorder.Batch) error {
	samples := make([]store.Sample, 0, len(b.Readings))
	for _, x := range b.Readings {
		text, scale, counts := x.Text, "", int64(0)
		if x.Counts.Known() && max(x.Counts.N, -x.Counts.N) <= maxCounts {
			scale = ScaleText(x.Counts.PerCount)
		}
		switch {
		case scale != "": // the register's counts are kept, so that another shunt can be applied to them
			text, counts = "", x.Counts.N
		case !x.Quality.Measured(): // what the device sent instead of a value
			text = text[:min(len(text), maxText)]
		}
		if err := checkStorable(x, text, scale); err != nil {
			return fmt.Errorf("%w: %w", recorder.ErrRefused, err)
		}
		channel, err := c.Channel(store.Channel{Run: x.Run, Probe: x.Probe, Step: x.Step, Quantity: x.Quantity,
			From: x.From, To: x.To, Unit: x.Unit, Meter: x.Meter, Scale: scale})
		if err != nil {
			return fmt.Errorf("%w: %w", recorder.ErrRefused, err)
		}
		samples = append(samples, store.Sample{Channel: channel, Time: x.Time, Mono: x.SinceBoot, Quality: x.Quality, Text: text, Count: counts})
	}
	return c.Append(ctx, samples, c.marks(b.Marks)...)
}

// ScaleText writes the value of one count of a register as a store takes it, with
// at most fifteen digits; "" where it cannot be.
func ScaleText(perCount float64) string {
	text := strconv.FormatFloat(perCount, 'e', 14, 64)
	rounded, _ := strconv.ParseFloat(text, 64) // a number, or an infinity, which is refused below
	text = strconv.FormatFloat(rounded, 'g', -1, 64)
	if !store.ScaleFits(text) {
		return ""
	}
	return text
}

// kinds are those of the store's marks.
var kinds = map[recorder.Kind]string{
	recorder.Started: store.MarkRestart, recorder.Stopped: store.MarkStop, recorder.Lost: store.MarkLost, recorder.Found: store.MarkGap,
	recorder.Restarted: store.MarkRestart, recorder.Dropped: store.MarkDropped, recorder.Clock: store.MarkClock, recorder.Stalled: store.MarkStalled, recorder.Changed: store.MarkRunFile,
	recorder.Announced: MarkStep, recorder.Faulty: markFault,
}

// Kinds of marks beside the store's own.
const (
	MarkStep  = "step"  // an announced step
	markFault = "fault" // an instrument's report instead of a value
)

// maxNote is the largest length of a mark's text in bytes; a device can send anything.
const maxNote = 1024

func (c committer) marks(of []recorder.Mark) []store.RunMark {
	var all []store.RunMark
	for _, m := range of {
		text := m.Text
		switch {
		case m.Kind == recorder.Found:
			text = "since " + m.Since.Time.Format(time.RFC3339Nano) + ": " + text
		case m.Kind == recorder.Started:
			text = "ohmkeep watch " + c.runFile
		}
		if m.Stamp.Uncertain {
			text += " (the date is uncertain)"
		}
		text = strings.ToValidUTF8(text[:min(len(text), maxNote)], "\uFFFD")
		one := store.RunMark{Run: m.Run, Mark: store.Mark{Time: m.Stamp.Time, Kind: kinds[m.Kind], Subject: m.Probe, Text: text}}
		if m.Kind == recorder.Started && c.newBoot {
			begun := one
			begun.Kind, begun.Text = store.MarkBoot, m.Stamp.Boot
			all = append(all, begun)
		}
		all = append(all, one)
	}
	return all
}

// checkStorable returns why the store would never take a reading; nil: it takes it.
func checkStorable(x reading.Recorded, text, scale string) error {
	switch {
	case !reading.Storable(x.Time):
		return fmt.Errorf("%v cannot be stored", x.Time)
	case len(text) > maxText:
		return fmt.Errorf("a number of %d digits cannot be stored", len(text))
	case !x.Quality.Measured(), scale != "":
		return nil
	}
	_, err := reading.Value(x.Quantity, text, x.Unit)
	return err
}
