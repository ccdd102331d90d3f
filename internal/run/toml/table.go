package toml

import (
	"fmt"
	"math"
	"slices"

	"ohmkeep/internal/fault"
)

// Table is one table of a file. Its getters give ok = false both for a key that
// is not there and for one of the wrong type; the latter is reported already.
type Table struct {
	doc     *document
	path    string // dotted, "" for the root
	line    int    // of its header or key; 0 for the root
	origin  origin
	closed  bool
	damaged bool // a line of it was not TOML
	keys    []string
	entries map[string]value
	known   []string // keys that were read, in that order
	opened  []*Table // inner tables that were read
}

// name is a key of t as messages write it.
func (t *Table) name(key string) string {
	if t.path == "" {
		return key
	}
	return t.path + "." + key
}

// Keys returns the table's keys in the order of the file.
func (t *Table) Keys() []string { return t.keys }

// Has reports whether the file sets the key, and makes it a known one.
func (t *Table) Has(key string) bool {
	_, ok := t.ask(key)
	return ok
}

// Line returns the line that sets the key, or the table's own where none does.
func (t *Table) Line(key string) int {
	if v, ok := t.entries[key]; ok {
		return v.line
	}
	return t.line
}

// ask returns the value of a key and marks the key as known.
func (t *Table) ask(key string) (value, bool) {
	if !slices.Contains(t.known, key) {
		t.known = append(t.known, key)
	}
	v, ok := t.entries[key]
	return v, ok
}

// typed finds a key whose value must be of a kind.
func (t *Table) typed(key string, want kind, hint string) (value, bool) {
	v, ok := t.ask(key)
	if !ok || v.kind == want {
		return v, ok
	}
	t.wrong(key, v, want.String(), hint)
	return v, false
}

// wrong reports a value of another kind than wanted.
func (t *Table) wrong(key string, v value, want, hint string) {
	if v.kind != nothing {
		t.doc.add(v.line, t.name(key), fmt.Sprintf("is %s, not %s", v.kind, want), hint)
	}
}

// Text returns a text.
func (t *Table) Text(key string) (string, bool) {
	v, ok := t.typed(key, text, fmt.Sprintf("write it between quotation marks: %s = \"…\"", key))
	return v.text, ok
}

// Number returns a finite number, written as an integer or a float.
func (t *Table) Number(key string) (float64, bool) {
	v, ok := t.typed(key, number, numberHint(key))
	return v.number, ok
}

func numberHint(key string) string {
	return fmt.Sprintf("write it without quotation marks or unit: %s = 1.5", key)
}

// Whole returns a whole number, which may be written as a float without a fraction.
func (t *Table) Whole(key string) (int, bool) {
	x, ok := t.Number(key)
	if ok && (x != math.Trunc(x) || math.Abs(x) > math.MaxInt32) {
		t.Fault(key, fmt.Sprintf("%g is not a whole number that can be used", x), "")
		return 0, false
	}
	return int(x), ok
}

// Wholes returns a list of whole numbers.
func (t *Table) Wholes(key string) ([]int64, bool) {
	hint := fmt.Sprintf("write %s = [1, 2]", key)
	v, ok := t.typed(key, list, hint)
	numbers := make([]int64, 0, len(v.list))
	for _, item := range v.list {
		if x := item.number; item.kind != number || x != math.Trunc(x) || math.Abs(x) > 1<<53 {
			t.wrong(key, item, "a whole number", hint)
			ok = false
			continue
		}
		numbers = append(numbers, int64(item.number))
	}
	return numbers, ok
}

// Bool returns true or false.
func (t *Table) Bool(key string) (bool, bool) {
	v, ok := t.typed(key, boolean, "write it without quotation marks")
	return v.yes, ok
}

// Texts returns a list of texts.
func (t *Table) Texts(key string) ([]string, bool) {
	hint := fmt.Sprintf("write %s = [\"…\", \"…\"]", key)
	v, ok := t.typed(key, list, hint)
	texts := make([]string, 0, len(v.list))
	for _, item := range v.list {
		if item.kind != text {
			t.wrong(key, item, "a text", hint)
			ok = false
			continue
		}
		texts = append(texts, item.text)
	}
	return texts, ok
}

// Table returns an inner table. Done on t is Done on it as well.
func (t *Table) Table(key string) (*Table, bool) {
	v, ok := t.typed(key, table, fmt.Sprintf("begin it with [%s]", t.name(key)))
	if ok {
		t.open(v.table)
	}
	return v.table, ok
}

// NumberOrTable returns a number, or an inner table where the file has one (then
// inner is not nil).
func (t *Table) NumberOrTable(key string) (x float64, inner *Table, ok bool) {
	if v, there := t.ask(key); there && v.kind == table {
		inner, ok = t.Table(key)
		return 0, inner, ok
	}
	x, ok = t.Number(key)
	return x, nil, ok
}

// Tables returns the tables of an array of tables: none where the file has none.
func (t *Table) Tables(key string) []*Table {
	v, ok := t.ask(key)
	if !ok {
		return nil
	}
	if v.kind == list { // a list of inline tables is the same thing
		v.kind = tables
		for _, item := range v.list {
			if item.kind != table {
				t.wrong(key, item, "a table", fmt.Sprintf("begin each with [[%s]]", t.name(key)))
				continue
			}
			v.tables = append(v.tables, item.table)
		}
	}
	if v.kind != tables {
		t.wrong(key, v, "one of several tables", fmt.Sprintf("begin each with [[%s]]", t.name(key)))
		return nil
	}
	t.open(v.tables...)
	return v.tables
}

// open marks inner tables as read.
func (t *Table) open(inner ...*Table) {
	for _, i := range inner {
		if !slices.Contains(t.opened, i) {
			t.opened = append(t.opened, i)
		}
	}
}

// Fault reports a fault of a key's value, or of the table itself for the key "".
func (t *Table) Fault(key, text, hint string) {
	name := t.path
	if key != "" {
		name = t.name(key)
	}
	t.doc.add(t.Line(key), name, text, hint)
}

// Missing reports a required key that is not set, unless it may have been on a line that
// could not be read.
func (t *Table) Missing(key, hint string) {
	if !t.damaged && !t.doc.damaged {
		t.doc.add(t.line, t.name(key), "is missing", hint)
	}
}

// Damaged reports whether any line of the file could not be read, so that a key may be
// missing for that reason.
func (t *Table) Damaged() bool { return t.doc.syntax }

// Done reports every unknown key of t and of its inner tables: one that was not read by name.
func (t *Table) Done() {
	for _, key := range t.keys {
		if v := t.entries[key]; v.kind != nothing && !slices.Contains(t.known, key) {
			t.doc.add(v.line, t.name(key), "is not known here", fault.Suggest(key, t.known))
		}
	}
	for _, inner := range t.opened {
		inner.Done()
	}
}

// Err returns every fault of the file so far as a fault.List, or nil.
func (t *Table) Err() error { return t.doc.faults.Err() }
