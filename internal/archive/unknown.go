package archive

import (
	"context"
	"database/sql"
	"slices"

	"ohmkeep/internal/chunk"
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
	all := map[int64][]int{} // the same for all series that are alike
	for id, at := range places {
		k := keys[id]
		alike, err := alike(ctx, tx, k)
		if err != nil {
			return nil, err
		}
		for _, other := range alike {
			all[other] = append(all[other], at...)
			if err := inChunks(ctx, tx, other, items, at, known); err != nil {
				return nil, err
			}
		}
		repeated(items, at, known)
	}
	tail, _, err := Tail(ctx, tx, func(series int64) bool { return all[series] != nil })
	if err != nil {
		return nil, err
	}
	for _, s := range tail {
		marked(items, all[s.Series], s.Records, known)
	}
	i := -1
	return slices.DeleteFunc(items, func(Item) bool { i++; return known[i] }), nil
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

func inChunks(ctx context.Context, tx *sql.Tx, series int64, items []Item, places []int, known []bool) error {
	there, err := Chunks(ctx, tx, series, items[places[0]].At, items[places[len(places)-1]].At)
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
		marked(items, places, records, known)
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
