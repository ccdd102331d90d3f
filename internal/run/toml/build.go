package toml

import (
	"fmt"

	"github.com/pelletier/go-toml/v2/unstable"

	"ohmkeep/internal/fault"
)

// document is the state that the tables of one file share.
type document struct {
	source
	file     string
	faults   fault.List
	reported map[fault.Fault]bool // each of faults, so that none is reported twice
	root     *Table
	current  *Table // that the next keys belong to
	syntax   bool   // a line was not TOML
	damaged  bool   // a header was not TOML, so that any key of any table may be missing for that reason
}

func (d *document) newTable(path string, line int) *Table {
	return &Table{doc: d, path: path, line: line, entries: map[string]value{}}
}

// expression adds one header or key and returns the line on which it ends.
func (d *document) expression(n *unstable.Node, base int) int {
	if n.Kind == unstable.KeyValue {
		d.keyValue(d.current, n, base)
		return d.line(base + int(n.Raw.Offset+n.Raw.Length) - 1)
	}
	var names []string
	line := 0
	for it := n.Key(); it.Next(); {
		names = append(names, string(it.Node().Data))
		line = d.line(base + int(it.Node().Raw.Offset))
	}
	parent := d.root
	for _, name := range names[:len(names)-1] {
		if parent = parent.inner(name, line, made); parent == nil {
			break
		}
	}
	d.current = nil
	if last := names[len(names)-1]; parent == nil {
		// The keys of a table that has no place are checked for syntax only.
	} else if n.Kind == unstable.ArrayTable {
		d.current = parent.another(last, line)
	} else {
		d.current = parent.inner(last, line, headed)
	}
	if d.current == nil {
		d.current = d.newTable("", line)
	}
	return line
}

// keyValue adds a key, dotted or not, to a table.
func (d *document) keyValue(t *Table, n *unstable.Node, base int) {
	var names []string
	line := 0
	for it := n.Key(); it.Next(); {
		names = append(names, string(it.Node().Data))
		line = d.line(base + int(it.Node().Raw.Offset))
	}
	last := names[len(names)-1]
	for _, name := range names[:len(names)-1] {
		if t = t.inner(name, line, dotted); t == nil {
			return
		}
	}
	if before, ok := t.entries[last]; ok && before.kind != nothing {
		t.twice(last, line, before.line)
		return
	}
	t.put(last, d.value(t.name(last), n.Value(), line, base))
}

// value reads a value of any type. Its line is that of the parser where known.
func (d *document) value(path string, n *unstable.Node, line, base int) value {
	switch n.Kind {
	case unstable.Array:
		v := value{kind: list, line: line}
		for it := n.Children(); it.Next(); {
			v.list = append(v.list, d.value(path, it.Node(), line, base))
		}
		return v
	case unstable.InlineTable:
		t := d.newTable(path, line)
		t.origin = inlined
		for it := n.Children(); it.Next(); {
			d.keyValue(t, it.Node(), base)
		}
		t.closed = true
		return value{kind: table, line: line, table: t}
	}
	if n.Raw.Length > 0 {
		line = d.line(base + int(n.Raw.Offset))
	}
	v, ok := scalar(n, line)
	if !ok {
		d.faults.Add(fault.Fault{File: d.file, Line: line, Key: path,
			Text: fmt.Sprintf("%s is not a finite number that can be used", n.Data)})
		v.kind = nothing
	}
	return v
}

// origin is how a table came to be, which decides what may be added to it.
type origin int

const (
	made    origin = iota // by the header of an inner table: [a.b] makes a
	headed                // by its own header
	dotted                // by a dotted key
	inlined               // as a value
)

// inner returns the table of that name inside t. It makes the table if it is missing, and returns
// nil after a fault if the name is taken.
func (t *Table) inner(name string, line int, how origin) *Table {
	v, ok := t.entries[name]
	if !ok {
		if t.closed {
			t.doc.add(line, t.name(name), "nothing can be added to a table that was written as a value", "")
			return nil
		}
		inner := t.doc.newTable(t.name(name), line)
		inner.origin = how
		t.put(name, value{kind: table, line: line, table: inner})
		return inner
	}
	switch {
	case v.kind == tables && how == made:
		return v.tables[len(v.tables)-1]
	case v.kind != table, v.table.closed:
	case how == made, how == dotted && v.table.origin == dotted:
		return v.table
	case how == headed && v.table.origin == made:
		v.table.origin, v.table.line = headed, line
		return v.table
	}
	t.twice(name, line, v.line)
	return nil
}

// another appends a table to the tables of that name. It returns nil after a fault if the name is
// used for something else.
func (t *Table) another(name string, line int) *Table {
	v, ok := t.entries[name]
	if ok && v.kind != tables || t.closed {
		t.twice(name, line, v.line)
		return nil
	}
	next := t.doc.newTable(t.name(name), line)
	next.origin = headed
	if !ok {
		v = value{kind: tables, line: line}
	}
	v.tables = append(v.tables, next)
	t.put(name, v)
	return next
}

func (t *Table) put(name string, v value) {
	if _, ok := t.entries[name]; !ok {
		t.keys = append(t.keys, name)
	}
	t.entries[name] = v
}

func (t *Table) twice(name string, line, before int) {
	t.doc.add(line, t.name(name), fmt.Sprintf("is already on line %d", before), "keep one of the two")
}

func (d *document) add(line int, key, text, hint string) {
	f := fault.Fault{File: d.file, Line: line, Key: key, Text: text, Hint: hint}
	if !d.reported[f] {
		d.reported[f] = true
		d.faults.Add(f)
	}
}
