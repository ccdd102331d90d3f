package tables

import (
	"context"
	"database/sql"
	"slices"

	"ohmkeep/internal/store/internal/chunk"
	"ohmkeep/internal/store/internal/decimal"
)

// sameReading is equal for two records that count as the same reading.
type sameReading struct {
	at, count int64
	text      string
}

// NotStored returns the items, which are in order of time, that are neither in the store nor earlier
// in items. Zones and probes are not compared. keys are those of the items' series.
func NotStored(ctx context.Context, tx *sql.Tx, items []Item, keys map[int64]Key) ([]Item, error) {
	if len(items) == 0 {
		return items, nil
	}
	known := make([]bool, len(items))
	places := map[int64][]int{} // indexes of the items of a series
	for i := range items {
		places[items[i].Series] = append(places[items[i].Series], i)
	}
	var all []sameSeries
	var held []*Series
	for _, k := range keys { // all are of one run
		var err error
		if held, err = All(ctx, tx, k.Run); err != nil {
			return nil, err
		}
		break
	}
	for id, at := range places {
		k := keys[id]
		var twins []sameSeries
		for _, s := range held {
			switch {
			case s.differsInProbe(k, k.Form, k.Scale):
				twins = append(twins, sameSeries{s, at, nil})
			case s.Scale != "" && s.differsInProbe(k, s.Form, s.Scale):
				// Exported counts of a register are read again as numbers.
				twins = append(twins, sameSeries{s, at, s.written(k.Form)})
			}
		}
		for _, t := range twins {
			if err := t.inChunks(ctx, tx, items, known); err != nil {
				return nil, err
			}
		}
		all = append(all, twins...)
		markRepeated(items, at, known)
	}
	wanted := func(series int64) bool {
		return slices.ContainsFunc(all, func(t sameSeries) bool { return t.series.ID == series })
	}
	tail, err := Tail(ctx, tx, wanted)
	if err != nil {
		return nil, err
	}
	for _, s := range tail.Sections {
		for _, t := range all {
			if t.series.ID == s.Series {
				markKnown(items, t.places, t.records(s.Records), known)
			}
		}
	}
	i := -1
	return slices.DeleteFunc(items, func(Item) bool { i++; return known[i] }), nil
}

// NotInChunks returns the records of a section, which are in order of time, that are not in the chunks
// of its series.
func NotInChunks(ctx context.Context, tx *sql.Tx, s chunk.Section) ([]chunk.Record, error) {
	items, places := make([]Item, len(s.Records)), make([]int, len(s.Records))
	for i, r := range s.Records {
		items[i], places[i] = Item{s.Series, s.Texts, r}, i
	}
	known := make([]bool, len(items))
	t := sameSeries{&Series{ID: s.Series, Identity: s.Identity}, places, nil}
	if err := t.inChunks(ctx, tx, items, known); err != nil {
		return nil, err
	}
	i := -1
	return slices.DeleteFunc(s.Records, func(chunk.Record) bool { i++; return known[i] }), nil
}

// sameSeries is a series that may contain the same readings as items of another one.
type sameSeries struct {
	series *Series
	places []int                    // indexes of those items
	as     func(*chunk.Record) bool // converts a record to the form of the items; false = it has no such form; nil = it needs no conversion
}

// records converts records of the twin to the form of the items, leaving out those that cannot be.
func (t sameSeries) records(records []chunk.Record) []chunk.Record {
	if t.as == nil {
		return records
	}
	var same []chunk.Record
	for _, r := range records {
		if t.as(&r) {
			same = append(same, r)
		}
	}
	return same
}

// differsInProbe reports whether a series has the key k except for the probe, with a given form and scale.
func (s *Series) differsInProbe(k Key, form, scale string) bool {
	k.Probe, k.Form, k.Scale = s.Probe, form, scale
	return s.Key == k
}

// written returns a function that converts records of counts to numbers in a form.
func (s *Series) written(form string) func(*chunk.Record) bool {
	return func(r *chunk.Record) bool {
		text := s.Text(r.Count)
		count, f, ok := decimal.Parse(text)
		switch {
		case ok && f.String() == form:
			r.Count = count
		case !ok && form == Texts:
			r.Count, r.Text = 0, text
		default:
			return false
		}
		return true
	}
}

func (t sameSeries) inChunks(ctx context.Context, tx *sql.Tx, items []Item, known []bool) error {
	places := t.places
	there, err := Chunks(ctx, tx, t.series, items[places[0]].At, items[places[len(places)-1]].At)
	if err != nil {
		return err
	}
	var m chunk.Moments
	var v chunk.Values
	var records []chunk.Record
	for i := range there {
		if from, to := within(items, places, there[i].First, there[i].Last); from == to {
			continue
		}
		if err := there[i].Load(ctx, tx, &m, &v); err != nil {
			return err
		}
		records = chunk.AppendRecords(records[:0], &m, &v)
		markKnown(items, places, t.records(records), known)
	}
	return nil
}

// within returns the range of places whose items are between two moments.
func within(items []Item, places []int, first, last int64) (from, to int) {
	search := func(at int64, past bool) int {
		i, _ := slices.BinarySearchFunc(places, at, func(place int, at int64) int {
			if items[place].At < at || past && items[place].At == at {
				return -1
			}
			return 1
		})
		return i
	}
	return search(first, false), search(last, true)
}

// markKnown marks the items at places that are also among records; both are in order of time.
func markKnown(items []Item, places []int, records []chunk.Record, known []bool) {
	if len(records) == 0 {
		return
	}
	from, to := within(items, places, records[0].At, records[len(records)-1].At)
	moment := map[sameReading]bool{}
	i, at := 0, int64(0)
	for _, place := range places[from:to] {
		x := &items[place]
		if x.At != at || place == places[from] {
			at = x.At
			clear(moment)
			for i < len(records) && records[i].At < at {
				i++
			}
			for ; i < len(records) && records[i].At == at; i++ {
				moment[sameReading{at, records[i].Count, records[i].Text}] = true
			}
		}
		if moment[sameReading{at, x.Count, x.Text}] {
			known[place] = true
		}
	}
}

// markRepeated marks the items at places that occur earlier among them.
func markRepeated(items []Item, places []int, known []bool) {
	moment := map[sameReading]bool{}
	for i, place := range places {
		x := &items[place]
		if i == 0 || items[places[i-1]].At != x.At {
			if i+1 == len(places) || items[places[i+1]].At != x.At {
				continue // the only item of its moment
			}
			clear(moment)
		}
		this := sameReading{x.At, x.Count, x.Text}
		known[place] = known[place] || moment[this]
		moment[this] = true
	}
}
