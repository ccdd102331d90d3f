package writer

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"time"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/store/internal/chunk"
	"ohmkeep/internal/store/internal/decimal"
	"ohmkeep/internal/store/internal/tables"
)

// unnamed returns the series whose names are not in the tail, and records that they will be.
func (w *Writer) unnamed(sections []chunk.Section) (series []int64) {
	for _, s := range sections {
		if !w.namedInTail[s.Series] {
			series = append(series, s.Series)
		}
	}
	if w.namedInTail == nil {
		w.namedInTail = map[int64]bool{}
	}
	for _, id := range series {
		w.namedInTail[id] = true
	}
	return series
}

func (w *Writer) checkSample(x *Sample) error {
	switch {
	case x.Channel < 0 || int(x.Channel) >= len(w.channels):
		return fault.Fault{Text: "its channel is not one of this writer"}
	case !reading.Storable(x.Time):
		return fault.Fault{Key: "time", Text: "outside the years 1970 to 2262"}
	case len(x.Text) > maxText:
		return fault.Fault{Key: "value", Text: fmt.Sprintf("longer than %d bytes", maxText)}
	case x.Count > decimal.MaxCount || x.Count < -decimal.MaxCount:
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

// sections sorts samples by series, and those of a series by time.
func (w *Writer) sections(ctx context.Context, tx *sql.Tx, samples []Sample) ([]chunk.Section, error) {
	for i := range w.channels {
		for j := range w.channels[i].series {
			s := &w.channels[i].series[j].section
			s.Records = s.Records[:0]
		}
	}
	for i := range samples {
		if err := w.addToSeries(ctx, tx, &samples[i]); err != nil {
			return nil, err
		}
	}
	var sections []chunk.Section
	for i := range w.channels {
		for _, s := range w.channels[i].series {
			if len(s.section.Records) > 0 {
				tables.SortByTime(s.section.Records)
				sections = append(sections, s.section)
			}
		}
	}
	slices.SortFunc(sections, func(a, b chunk.Section) int { return int(a.Series - b.Series) })
	return sections, nil
}

// addToSeries adds a sample to the section of its series.
func (w *Writer) addToSeries(ctx context.Context, tx *sql.Tx, x *Sample) error {
	c := &w.channels[x.Channel]
	r := chunk.Record{At: x.Time.UnixNano(), Quality: x.Quality, Count: x.Count}
	if x.Time.Location() != time.UTC {
		_, zone := x.Time.Zone()
		r.Zone = int32(zone)
	}
	if x.Mono != 0 {
		r.Clock, r.Boot = r.At-int64(x.Mono), w.boot
	}
	form, texts := x.Form, false
	if x.Text != "" {
		var ok bool
		if r.Count, form, ok = decimal.Parse(x.Text); !ok {
			texts, r.Text = true, x.Text
		} else {
			if r.Count < 0 && c.sign {
				form.Plus = true
			}
			c.sign = form.Plus
		}
	}
	for i := range c.series {
		if s := &c.series[i]; s.form == form && s.section.Texts == texts {
			s.section.Records = append(s.section.Records, r)
			return nil
		}
	}
	id, identity, err := w.series(ctx, tx, c, form, texts)
	if err != nil {
		return err
	}
	c.series = append(c.series, writerSeries{form, chunk.Section{Series: id, Identity: identity, Texts: texts, Records: []chunk.Record{r}}})
	return nil
}

// series returns the series of a channel and a form, and creates it if it does not exist.
func (w *Writer) series(ctx context.Context, tx *sql.Tx, c *writerChannel, form decimal.Form, text bool) (id int64, identity uint64, err error) {
	runID, err := tables.EnsureRun(ctx, tx, c.Run)
	if err == nil {
		err = tables.EnsureSource(ctx, tx, runID, c.Probe)
	}
	if err != nil {
		return 0, 0, err
	}
	k := tables.Key{Run: runID, Probe: c.Probe, Step: c.Step, Quantity: c.Quantity, From: c.From, To: c.To,
		Unit: c.Unit, Meter: c.Meter, Form: form.String(), Scale: c.Scale}
	if text {
		k.Form = tables.Texts
	}
	id, err = tables.Ensure(ctx, tx, k)
	return id, k.Identity(c.Run), err
}
