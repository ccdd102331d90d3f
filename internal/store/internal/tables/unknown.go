package tables

import (
	"context"
	"database/sql"
	"slices"

	"ohmkeep/internal/store/internal/chunk"
	"ohmkeep/internal/store/internal/decimal"
)

// same is what makes two records of alike series the same one.
type same struct {
	at, count int64
	text      string
}

// Unknown leaves out the items, which are in the order of time, that a store holds
// already or that stand before in items. The zone of a moment does not count, nor
// by which probe a reading came. keys are those of the items' series.
func Unknown(ctx context.Context, tx *sql.Tx, items []Item, keys map[int64]Key) ([]Item, error) {
	if len(items) == 0 {
		return items, nil
	}
	known := make([]bool, len(items))
	places := map[int64][]int{} // where the items of a series stand
	for i := range items {
		places[items[i].Series] = append(places[items[i].Series], i)
	}
	var all []twin
	counted, err := counted(ctx, tx, keys)
	if err != nil {
		return nil, err
	}
	for id, at := range places {
		k := keys[id]
		alike, err := alike(ctx, tx, k)
		if err != nil {
			return nil, err
		}
		var twins []twin
		for _, other := range alike {
			twins = append(twins, twin{other, at, nil})
		}
		for _, s := range counted {
			if s.likeBut(k) {
				twins = append(twins, twin{s.ID, at, s.written(k.Form)})
			}
		}
		for _, t := range twins {
			if err := t.inChunks(ctx, tx, items, known); err != nil {
				return nil, err
			}
		}
		all = append(all, twins...)
		repeated(items, at, known)
	}
	wanted := func(series int64) bool {
		return slices.ContainsFunc(all, func(t twin) bool { return t.series == series })
	}
	tail, _, err := Tail(ctx, tx, wanted)
	if err != nil {
		return nil, err
	}
	for _, s := range tail {
		for _, t := range all {
			if t.series == s.Series {
				marked(items, t.places, t.records(s.Records), known)
			}
		}
	}
	i := -1
	return slices.DeleteFunc(items, func(Item) bool { i++; return known[i] }), nil
}

// twin is a series whose records may be the same as items of another.
type twin struct {
	series int64
	places []int                    // where those items stand
	as     func(*chunk.Record) bool // makes a record of it one of theirs, or tells that it is none; nil = it is one
}

// records gives those that may be the same as items, as those are written.
func (t twin) records(records []chunk.Record) []chunk.Record {
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

// counted gives the series of registers' counts among which items may be: what is
// exported of them, and read again, is numbers.
func counted(ctx context.Context, tx *sql.Tx, keys map[int64]Key) (scaled []*Series, err error) {
	for _, k := range keys { // all are of one run
		all, err := All(ctx, tx, k.Run)
		return slices.DeleteFunc(all, func(s *Series) bool { return s.Scale == "" }), err
	}
	return nil, nil
}

// likeBut tells whether a series of counts differs from that of numbers in nothing but
// the probe and how they are written.
func (s *Series) likeBut(k Key) bool {
	like := s.Key
	like.Probe, like.Form, like.Scale = k.Probe, k.Form, ""
	return like == k
}

// written makes records of counts those of numbers in a form.
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

// alike gives the series that differ from a key in nothing but the probe.
func alike(ctx context.Context, tx *sql.Tx, k Key) ([]int64, error) {
	rows, err := tx.QueryContext(ctx, `SELECT id FROM series WHERE run = ? AND quantity = ? AND place_from = ? AND place_to = ?
		AND step = ? AND unit = ? AND meter = ? AND form = ? AND scale = ?`,
		k.Run, k.Quantity.String(), k.From, k.To, k.Step, k.Unit, k.Meter, k.Form, k.Scale)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var all []int64
	for rows.Next() {
		var id int64
		if err := rows.Scan(&id); err != nil {
			return nil, err
		}
		all = append(all, id)
	}
	return all, rows.Err()
}

func (t twin) inChunks(ctx context.Context, tx *sql.Tx, items []Item, known []bool) error {
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
		marked(items, places, t.records(records), known)
	}
	return nil
}

// within gives the part of places whose items lie from first to last.
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

// marked marks the items at places that stand among records, both in the order
// of time.
func marked(items []Item, places []int, records []chunk.Record, known []bool) {
	if len(records) == 0 {
		return
	}
	from, to := within(items, places, records[0].At, records[len(records)-1].At)
	moment := map[same]bool{}
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
				moment[same{at, records[i].Count, records[i].Text}] = true
			}
		}
		if moment[same{at, x.Count, x.Text}] {
			known[place] = true
		}
	}
}

// repeated marks the items at places that stand before among them.
func repeated(items []Item, places []int, known []bool) {
	moment := map[same]bool{}
	for i, place := range places {
		x := &items[place]
		if i == 0 || items[places[i-1]].At != x.At {
			if i+1 == len(places) || items[places[i+1]].At != x.At {
				continue // alone in its moment
			}
			clear(moment)
		}
		this := same{x.At, x.Count, x.Text}
		known[place] = known[place] || moment[this]
		moment[this] = true
	}
}
