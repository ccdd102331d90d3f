package recovery

import (
	"context"
	"encoding/json"
	"slices"
	"strings"

	"ohmkeep/internal/run"
	"ohmkeep/internal/store/internal/chunk"
	"ohmkeep/internal/store/internal/pages"
	"ohmkeep/internal/store/internal/tables"
)

// inventory holds the rows found on all pages of a store, and the places of blocks.
type inventory struct {
	noDeleted bool // it contains no deleted rows

	runs   map[int64][]string // names of each run number, from the table or its index
	series map[int64][]tables.Key
	// corrected is the scale that is right for a series instead of the key's.
	corrected     map[int64]string
	rows          map[string][][]any // rows of the tables that are copied unchanged, by table
	chunkReadings map[int64]int64    // readings of a series in chunks

	moments map[int64][]pages.Place
	chunks  []chunkRow
	entries map[int64]entry // the index entry of a chunk, by its number
	tail    []tailRow
	highest numbers
}

type chunkRow struct {
	tables.Chunk
	series int64
	at     pages.Place
}

type entry struct {
	series, n   int64
	first, last int64
}

type tailRow struct {
	id, n int64
	at    pages.Place
}

// numbers are the highest numbers that were ever used.
type numbers struct{ run, series, boot int64 }

// collect reads every row on the pages of a store.
func collect(ctx context.Context, src pages.Source) (*inventory, error) {
	v := newInventory()
	var err error
	v.noDeleted, err = pages.Scan(ctx, src, func(r pages.Row) error {
		v.take(r)
		return nil
	})
	slices.SortFunc(v.tail, func(a, b tailRow) int { return int(a.id - b.id) })
	return v, err
}

func newInventory() *inventory {
	return &inventory{runs: map[int64][]string{}, series: map[int64][]tables.Key{}, corrected: map[int64]string{}, rows: map[string][][]any{},
		chunkReadings: map[int64]int64{}, moments: map[int64][]pages.Place{}, entries: map[int64]entry{}}
}

// take adds a row to the inventory.
func (v *inventory) take(r pages.Row) {
	if r.InTable {
		v.row(r)
	} else {
		v.entry(r)
	}
}

// form returns the types of values, one letter each.
func form(values []any) string {
	b := make([]byte, 0, 16)
	for _, v := range values {
		switch v.(type) {
		case nil:
			b = append(b, '-')
		case int64:
			b = append(b, 'i')
		case float64:
			b = append(b, 'r')
		case string:
			b = append(b, 't')
		default:
			b = append(b, 'b')
		}
	}
	return string(b)
}

// The types of the columns of tables and indexes that are too long to count, in the order
// of schema.sql. A column that numbers the rows of a table is empty in them.
var (
	seriesForm      = "-i" + strings.Repeat("t", 9) + "-" // run, probe to scale, corrected
	correctedForm   = "-i" + strings.Repeat("t", 10)
	seriesKeyForm   = "i" + strings.Repeat("t", 9) + "i" // run, quantity to probe, id
	chunkForm       = "-" + strings.Repeat("i", 9) + "b" // series to moments, block; and a name or none
	chunkTextsForm  = "-iiiii---ib"                      // without lowest, highest and sum
	chunkIndexForm  = strings.Repeat("i", 10)            // series to sum, id again
	textsIndexForm  = "iiiiii---i"
	seriesCorrected = len(seriesForm) - 1
)

// row adds a row of a table. The table is recognised by the types of its columns.
func (v *inventory) row(r pages.Row) {
	c := r.Values
	switch form(c) {
	case "-t":
		v.named(r.ID, c[1].(string))
	case seriesForm, correctedForm:
		v.key(r.ID, c[1:])
		if corrected, ok := c[seriesCorrected].(string); ok {
			v.corrected[r.ID] = corrected
		}
	case "-it":
		v.copied("source", c[1:])
	case "-ti":
		v.highest.boot = max(v.highest.boot, r.ID)
		v.copied("boot", append([]any{r.ID}, c[1:]...))
	case "-iiittti", "-iiittt-":
		v.copied("mark", c[1:])
	case "-iii":
		v.copied("revision", append([]any{r.ID}, c[1:]...))
	case "-tt":
		v.copied("identity", append([]any{r.ID}, c[1:]...))
	case "-itib":
		v.copied("state", c[1:])
	case "-i":
		v.chunkReadings[r.ID] = max(v.chunkReadings[r.ID], c[1].(int64))
	case "-b":
		v.moments[r.ID] = append(v.moments[r.ID], r.Place)
	case "-ib-", "-ibt":
		v.tail = append(v.tail, tailRow{r.ID, c[1].(int64), r.Place})
		v.names(c[3])
	case chunkForm + "-", chunkForm + "t", chunkTextsForm + "-", chunkTextsForm + "t":
		v.chunk(r)
	case "ti": // of the table that SQLite keeps the highest numbers in
		v.sequence(c[0].(string), c[1].(int64))
	}
}

// entry adds an entry of an index, or a row of a table without row numbers.
func (v *inventory) entry(r pages.Row) {
	c := r.Values
	switch f := form(c); f {
	case "ti":
		v.named(c[1].(int64), c[0].(string))
	case seriesKeyForm: // run, quantity, place_from, place_to, step, unit, meter, form, scale, probe, id
		v.key(c[10].(int64), []any{c[0], c[9], c[4], c[1], c[2], c[3], c[5], c[6], c[7], c[8]})
	case chunkIndexForm, textsIndexForm:
		id, series, n := c[2].(int64), c[0].(int64), c[4].(int64)
		v.highest.series = max(v.highest.series, series)
		if n > 0 && n <= chunk.MaxRecords {
			v.entries[id] = entry{series: series, n: n, first: c[1].(int64), last: c[3].(int64)}
		}
	default:
		if len(c) == 6 && f[:3] == "iii" {
			v.hour(c)
		}
	}
}

func (v *inventory) named(id int64, name string) {
	v.highest.run = max(v.highest.run, id)
	if id > 0 && !slices.Contains(v.runs[id], name) {
		v.runs[id] = append(v.runs[id], name)
	}
}

// key adds the name of a series: run, probe, step, quantity, place_from, place_to, unit, meter,
// form, scale.
func (v *inventory) key(id int64, c []any) {
	v.highest.series = max(v.highest.series, id)
	v.highest.run = max(v.highest.run, c[0].(int64))
	text := func(i int) string { return c[i].(string) }
	q := slices.Index(run.QuantityNames, text(3))
	if q < 0 || id < 1 {
		return
	}
	k := tables.Key{Run: c[0].(int64), Probe: text(1), Step: text(2), Quantity: run.Quantity(q), From: text(4), To: text(5),
		Unit: text(6), Meter: text(7), Form: text(8), Scale: text(9)}
	if k.Check() == nil && !slices.Contains(v.series[id], k) {
		v.series[id] = append(v.series[id], k)
	}
}

func (v *inventory) chunk(r pages.Row) {
	c := chunkRow{at: r.Place}
	c.ID = r.ID
	numbers := []*int64{nil, &c.series, &c.First, &c.Last, nil, nil, &c.Lowest, &c.Highest, &c.Sum, &c.Moments}
	for i, to := range numbers {
		if x, ok := r.Values[i].(int64); ok && to != nil {
			*to = x
		}
	}
	c.N, c.Measured = int(r.Values[4].(int64)), int(r.Values[5].(int64))
	_, c.Counted = r.Values[8].(int64)
	v.highest.series = max(v.highest.series, c.series)
	if c.N < 1 || c.N > chunk.MaxRecords {
		return
	}
	v.chunks = append(v.chunks, c)
	var name [11]any
	if text, ok := r.Values[11].(string); ok && json.Unmarshal([]byte(text), &name) == nil {
		v.chunkName(c.series, name)
	}
}

// names adds the names of series that a commit contains.
func (v *inventory) names(text any) {
	var all [][]any
	if text, ok := text.(string); !ok || json.Unmarshal([]byte(text), &all) != nil {
		return
	}
	for _, one := range all {
		if len(one) != 12 {
			continue
		}
		if id, ok := one[0].(float64); ok && id >= 1 && id <= maxNumber {
			v.chunkName(int64(id), [11]any(one[1:]))
		}
	}
}

// chunkName adds the name of its series that a chunk contains: the run's number and name, then probe to
// scale.
func (v *inventory) chunkName(series int64, name [11]any) {
	runID, ok := name[0].(float64)
	for _, text := range name[1:] {
		_, isText := text.(string)
		ok = ok && isText
	}
	if !ok || runID < 1 || runID > maxNumber {
		return
	}
	v.named(int64(runID), name[1].(string))
	v.key(series, append([]any{int64(runID)}, name[2:]...))
}

func (v *inventory) sequence(table string, id int64) {
	switch table {
	case "run":
		v.highest.run = max(v.highest.run, id)
	case "series":
		v.highest.series = max(v.highest.series, id)
	case "boot":
		v.highest.boot = max(v.highest.boot, id)
	}
}

func (v *inventory) hour(c []any) {
	row := make([]any, 6)
	copy(row, c[:3])
	for i, x := range c[3:] { // SQLite keeps whole numbers as such
		switch x := x.(type) {
		case int64:
			row[3+i] = float64(x)
		case float64:
			row[3+i] = x
		default:
			return
		}
	}
	v.highest.series = max(v.highest.series, c[0].(int64))
	v.rows["hourly"] = append(v.rows["hourly"], row)
}

// copied adds a row that is copied unchanged.
func (v *inventory) copied(table string, values []any) {
	row := make([]any, len(values))
	for i, x := range values {
		if b, ok := x.([]byte); ok {
			x = slices.Clone(b)
		}
		row[i] = x
	}
	v.rows[table] = append(v.rows[table], row)
}
