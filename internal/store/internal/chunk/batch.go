package chunk

import (
	"encoding/binary"
)

// Section is the part of a batch that belongs to one series.
type Section struct {
	Series  int64
	Texts   bool     // the series has no form
	Records []Record // in the order of time
}

// base is what moments are written against.
type base struct {
	at, unit, clock int64
	zone, boot      int32
}

// AppendBatch appends sections in the rising order of their series to dst. There
// is at least one, and none is empty.
func AppendBatch(dst []byte, sections []Section) []byte {
	from := len(dst)
	first := sections[0].Records[0]
	b := base{at: first.At, clock: first.Clock, zone: first.Zone, boot: first.Boot}
	for _, s := range sections {
		for i := range s.Records {
			b.unit = divide(b.unit, s.Records[i].At-b.at)
		}
	}
	b.unit = max(b.unit, 1)
	dst = binary.AppendVarint(dst, b.at)
	dst = binary.AppendUvarint(dst, uint64(b.unit))
	dst = binary.AppendVarint(dst, b.clock)
	dst = binary.AppendVarint(dst, int64(b.zone))
	dst = binary.AppendVarint(dst, int64(b.boot))
	var before []Record
	var body []byte
	series := int64(0)
	for _, s := range sections {
		dst = binary.AppendUvarint(dst, uint64(s.Series-series))
		series = s.Series
		n := uint64(len(s.Records)) * 2
		body = body[:0]
		if SameMoments(before, s.Records) {
			n++
		} else {
			body = appendMoments(body, s.Records, b)
		}
		before = s.Records
		body = appendValues(body, s.Records, s.Texts)
		dst = binary.AppendUvarint(dst, n)
		dst = binary.AppendUvarint(dst, uint64(len(body)))
		dst = append(dst, body...)
	}
	return seal(dst, from)
}

// divide gives the greatest common divisor of g and the size of x.
func divide(g, x int64) int64 {
	x = max(x, -x)
	if g == 1 || g != 0 && x%g == 0 {
		return g
	}
	for x != 0 {
		g, x = x, g%x
	}
	return g
}

// SameMoments tells whether records were taken at the same moments.
func SameMoments(a, b []Record) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		x, y := &a[i], &b[i]
		if x.At != y.At || x.Clock != y.Clock || x.Zone != y.Zone || x.Boot != y.Boot {
			return false
		}
	}
	return true
}

// Batch reads a batch again and again: its memory is used for the next one.
type Batch struct {
	moments Moments
	values  Values
	records []Record
}

// Decode calls take for each section of a batch that wanted accepts, in their
// order; nil accepts all. The records are good until take returns. An error of
// take ends it.
func (d *Batch) Decode(src []byte, wanted func(series int64) bool, take func(Section) error) error {
	src, err := open(src)
	if err != nil {
		return err
	}
	h := header{src: src}
	b := base{at: h.signed(), unit: int64(h.unsigned()), clock: h.signed(), zone: int32(h.signed()), boot: int32(h.signed())}
	series := int64(0)
	var moments []byte // of the last section that has its own
	size, known := -1, false
	for len(h.src) > 0 {
		series += int64(h.unsigned())
		n, length := h.unsigned(), h.unsigned()
		if h.failed || n/2 > most || length > uint64(len(h.src)) {
			return ErrDamaged
		}
		body := h.src[:length]
		h.src = h.src[length:]
		own := n&1 == 0
		if own {
			moments, size, known = body, int(n/2), false
		} else if size != int(n/2) {
			return ErrDamaged
		}
		if wanted != nil && !wanted(series) {
			continue
		}
		if !known {
			rest, err := d.moments.decode(moments, size)
			if err != nil {
				return ErrDamaged
			}
			d.restore(b)
			known = true
			if own {
				body = rest
			}
		}
		if err := whole(d.values.decode(body, size)); err != nil {
			return err
		}
		d.records = AppendRecords(d.records[:0], &d.moments, &d.values)
		for i := range d.records {
			r := &d.records[i]
			r.Zone += b.zone
			r.Clock += b.clock
			r.Boot += b.boot
		}
		if err := take(Section{series, d.values.Texts != nil, d.records}); err != nil {
			return err
		}
	}
	if h.failed {
		return ErrDamaged
	}
	return nil
}

// restore makes moments out of distances from the base.
func (d *Batch) restore(b base) {
	for i, x := range d.moments.At {
		d.moments.At[i] = x*b.unit + b.at
	}
}

// header reads integers off the front of a batch.
type header struct {
	src    []byte
	failed bool
}

func (h *header) unsigned() uint64 {
	x, n := binary.Uvarint(h.src)
	if n <= 0 {
		h.failed = true
		return 0
	}
	h.src = h.src[n:]
	return x
}

func (h *header) signed() int64 {
	z := h.unsigned()
	return int64(z>>1) ^ -int64(z&1)
}
