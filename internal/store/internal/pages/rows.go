package pages

import (
	"context"
	"encoding/binary"
	"math"
)

// Kinds of pages that hold rows (section 1.6).
const (
	indexInterior = 0x02
	indexLeaf     = 0x0a
	tableLeaf     = 0x0d
)

// Place is the position of a row: page number and index of the cell on it.
type Place struct{ Page, Cell int }

// Row is a row of a table, or an entry of an index.
type Row struct {
	Place
	InTable bool  // otherwise it is an entry of an index
	ID      int64 // the number of a table's row
	Values  []any // int64, float64, string, []byte or nil; nil for a column that is an alias of the number
}

// Scan calls take with every row on a page in use, until take returns an error. Bytes that
// are not a row are skipped. fresh reports whether the list of free pages could be read; if
// not, deleted rows are included. The values are valid until take returns.
func Scan(ctx context.Context, src Source, take func(Row) error) (fresh bool, err error) {
	unused, fresh := freePages(src)
	r := Reader{src: src}
	for n := 1; n <= src.Count(); n++ {
		if unused[n] {
			continue
		}
		if n&1023 == 0 && ctx.Err() != nil {
			return fresh, ctx.Err()
		}
		if err := r.open(n); err != nil {
			continue
		}
		for cell := range r.cells {
			if row, ok := r.row(cell); ok {
				if err := take(row); err != nil {
					return fresh, err
				}
				if err := r.open(n); err != nil { // take may have read another page
					break
				}
			}
		}
	}
	return fresh, nil
}

// Reader reads rows at places that Scan has returned.
type Reader struct {
	src    Source
	number int
	page   []byte // a copy
	kind   byte
	header int // offset of the page's header
	cells  int
	values []any
	held   []byte // payload of a row with overflow pages
}

// NewReader returns a reader of rows.
func NewReader(src Source) *Reader { return &Reader{src: src} }

// Row returns the row at a place. The values are valid until the next call.
func (r *Reader) Row(at Place) (Row, bool) {
	if r.open(at.Page) != nil || at.Cell >= r.cells {
		return Row{}, false
	}
	return r.row(at.Cell)
}

// open reads a page; cells is 0 if the page holds no rows.
func (r *Reader) open(n int) error {
	if r.number == n {
		return nil
	}
	page, err := r.src.Page(n)
	if err != nil {
		r.number, r.cells = 0, 0
		return err
	}
	r.number, r.page, r.cells, r.header = n, append(r.page[:0], page...), 0, 0
	if n == 1 {
		r.header = headerSize
	}
	size := 8
	switch r.kind = r.page[r.header]; r.kind {
	case tableLeaf, indexLeaf:
	case indexInterior:
		size = 12
	default:
		return nil
	}
	cells := int(binary.BigEndian.Uint16(r.page[r.header+3:]))
	if r.header+size+2*cells <= len(r.page) {
		r.cells = cells
	}
	r.header += size // from here on the offset of the cell pointers
	return nil
}

// row returns a row of the present page (section 1.6, "B-tree Cell Format").
func (r *Reader) row(cell int) (row Row, ok bool) {
	row = Row{Place: Place{r.number, cell}, InTable: r.kind == tableLeaf}
	at := int(binary.BigEndian.Uint16(r.page[r.header+2*cell:]))
	if r.kind == indexInterior {
		at += 4 // the number of a child
	}
	if at >= len(r.page) {
		return row, false
	}
	b := r.page[at:]
	length, n := varint(b)
	b = b[n:]
	if row.InTable {
		row.ID, n = signedVarint(b)
		b = b[n:]
	}
	payload, ok := r.payload(b, length, row.InTable)
	if !ok {
		return row, false
	}
	r.values, ok = record(r.values[:0], payload)
	row.Values = r.values
	return row, ok
}

// payload returns the bytes of a row, which may continue on overflow pages (section 1.7).
func (r *Reader) payload(b []byte, length uint64, inTable bool) ([]byte, bool) {
	usable := len(r.page)
	most := usable - 35
	if !inTable {
		most = (usable-12)*64/255 - 23
	}
	if length <= uint64(most) {
		if length > uint64(len(b)) {
			return nil, false
		}
		return b[:length], true
	}
	if length > uint64(r.src.Count())*uint64(usable) { // more than the database
		return nil, false
	}
	least := (usable-12)*32/255 - 23
	local := least + (int(length)-least)%(usable-4)
	if local > most {
		local = least
	}
	if local+4 > len(b) {
		return nil, false
	}
	r.held = append(r.held[:0], b[:local]...)
	next := int(binary.BigEndian.Uint32(b[local:]))
	for len(r.held) < int(length) {
		if next < 2 || next > r.src.Count() {
			return nil, false
		}
		page, err := r.src.Page(next)
		if err != nil {
			return nil, false
		}
		next = int(binary.BigEndian.Uint32(page))
		r.held = append(r.held, page[4:4+min(usable-4, int(length)-len(r.held))]...)
	}
	return r.held, true
}

// record appends the values of a row (section 2.1).
func record(dst []any, b []byte) ([]any, bool) {
	length, n := varint(b)
	if n == 0 || length > uint64(len(b)) || length < uint64(n) {
		return dst, false
	}
	header, body := b[n:length], b[length:]
	for len(header) > 0 {
		kind, n := varint(header)
		if n == 0 {
			return dst, false
		}
		header = header[n:]
		size := sizeOf(kind)
		if size > uint64(len(body)) {
			return dst, false
		}
		value := body[:size]
		body = body[size:]
		switch {
		case kind == 0:
			dst = append(dst, nil)
		case kind == 7:
			dst = append(dst, math.Float64frombits(binary.BigEndian.Uint64(value)))
		case kind == 8, kind == 9:
			dst = append(dst, int64(kind-8))
		case kind < 7:
			x := int64(int8(value[0]))
			for _, c := range value[1:] {
				x = x<<8 | int64(c)
			}
			dst = append(dst, x)
		case kind < 12:
			return dst, false
		case kind%2 == 0:
			dst = append(dst, value)
		default:
			dst = append(dst, string(value))
		}
	}
	return dst, true
}

// sizeOf returns the bytes of a value of a serial type.
func sizeOf(kind uint64) uint64 {
	switch {
	case kind < 12:
		return [...]uint64{0, 1, 2, 3, 4, 6, 8, 8, 0, 0, 0, 0}[kind]
	case kind%2 == 0:
		return (kind - 12) / 2
	}
	return (kind - 13) / 2
}

// varint reads an integer of up to nine bytes, the most significant first.
func varint(b []byte) (x uint64, n int) {
	for n < len(b) {
		c := b[n]
		if n++; n == 9 {
			return x<<8 | uint64(c), n
		}
		x = x<<7 | uint64(c&0x7f)
		if c < 0x80 {
			return x, n
		}
	}
	return 0, 0
}

func signedVarint(b []byte) (int64, int) {
	x, n := varint(b)
	return int64(x), n
}
