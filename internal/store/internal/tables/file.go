package tables

import (
	"cmp"
	"context"
	"database/sql"
	"slices"

	"ohmkeep/internal/store/internal/chunk"
	"ohmkeep/internal/store/internal/decimal"
)

// Item is a record and the series that it belongs to.
type Item struct {
	Series int64
	Texts  bool // the series has no form
	chunk.Record
}

// Sorter finds the series of readings and creates missing ones.
type Sorter struct {
	tx    *sql.Tx
	run   string // its name
	known map[Key]int64
	forms map[decimal.Form]string
}

// NewSorter returns a Sorter for the readings of a run within a transaction.
func NewSorter(tx *sql.Tx, runName string) *Sorter {
	return &Sorter{tx, runName, map[Key]int64{}, map[decimal.Form]string{}}
}

// Series returns the number of a series.
func (f *Sorter) Series(ctx context.Context, k Key) (int64, error) {
	id, ok := f.known[k]
	if ok {
		return id, nil
	}
	id, err := Ensure(ctx, f.tx, k)
	if err == nil {
		f.known[k] = id
	}
	return id, err
}

// Keys returns the keys of all series that were looked up, by number.
func (f *Sorter) Keys() map[int64]Key {
	keys := make(map[int64]Key, len(f.known))
	for k, id := range f.known {
		keys[id] = k
	}
	return keys
}

// Item returns the item of a number as it was written. The form of the key is ignored.
func (f *Sorter) Item(ctx context.Context, k Key, r chunk.Record, text string) (Item, error) {
	count, form, ok := decimal.Parse(text)
	if ok {
		if k.Form, ok = f.forms[form]; !ok {
			k.Form = form.String()
			f.forms[form] = k.Form
		}
		r.Count = count
	} else {
		k.Form, r.Text = Texts, text
	}
	id, err := f.Series(ctx, k)
	return Item{id, k.Form == Texts, r}, err
}

// Sections is like the function Sections, with the identities of the series.
func (f *Sorter) Sections(items []Item) []chunk.Section {
	sections := Sections(items)
	keys := f.Keys()
	for i := range sections {
		k := keys[sections[i].Series]
		sections[i].Identity = k.Identity(f.run)
	}
	return sections
}

// Sections sorts items, which are in order of time, by series. Items of the same moment get ranks
// where the order of the series is not their own order.
func Sections(items []Item) []chunk.Section {
	bySeries := map[int64]int{}
	var sections []chunk.Section
	for i := range items {
		x := &items[i]
		if i > 0 && items[i-1].At == x.At {
			x.Rank = items[i-1].Rank
			if x.Series < items[i-1].Series {
				x.Rank++
			}
		}
		at, ok := bySeries[x.Series]
		if !ok {
			at = len(sections)
			bySeries[x.Series] = at
			sections = append(sections, chunk.Section{Series: x.Series, Texts: x.Texts})
		}
		sections[at].Records = append(sections[at].Records, x.Record)
	}
	slices.SortFunc(sections, func(a, b chunk.Section) int { return cmp.Compare(a.Series, b.Series) })
	return sections
}

// SortByTime sorts records by their time.
func SortByTime(records []chunk.Record) {
	byTime := func(a, b chunk.Record) int { return cmp.Compare(a.At, b.At) }
	if !slices.IsSortedFunc(records, byTime) { // the clock was set back, or lines crossed
		slices.SortStableFunc(records, byTime)
	}
}
