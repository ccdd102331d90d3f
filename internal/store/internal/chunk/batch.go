package chunk

import (
	"encoding/binary"
)

// Section is the part of a batch that belongs to one series.
type Section struct {
	Series   int64
	Identity uint64   // of the series
	Texts    bool     // the series has no form
	Records  []Record // in the order of time
}

// MaxInBatch is how many records a batch holds at most.
const MaxInBatch = 1 << 14

// base holds the values that are subtracted from moments, clocks, zones and boots.
type base struct {
	at, unit, clock int64
	zone, boot      int32
}

// AppendBatch appends sections to dst. They must be in ascending order of series, at least one,
// and none empty.
func AppendBatch(dst []byte, sections []Section) []byte {
	from := len(dst)
	first := sections[0].Records[0]
	b := base{at: first.At, clock: first.Clock, zone: first.Zone, boot: first.Boot}
	for _, s := range sections {
		for i := range s.Records {
			b.unit = gcd(b.unit, s.Records[i].At-b.at)
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
	series, sum := int64(0), uint32(0)
	for _, s := range sections {
		dst = binary.AppendUvarint(dst, uint64(s.Series-series))
		series, sum = s.Series, addIdentity(sum, s.Identity)
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
	return seal(binary.LittleEndian.AppendUint32(dst, sum), from, 0)
}

// gcd returns the greatest common divisor of g and the size of x.
func gcd(g, x int64) int64 {
	x = max(x, -x)
	if g == 1 || g != 0 && x%g == 0 {
		return g
	}
	for x != 0 {
		g, x = x, g%x
	}
	return g
}

// SameMoments reports whether records were taken at the same moments.
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

// Batch decodes batches. It reuses its memory for the next one.
type Batch struct {
	moments Moments
	values  Values
	records []Record
}

// Decode calls take for each section of a batch of n records whose series wanted accepts, in
// order; nil accepts all. identity returns the identity of a series. If all identities are known
// and differ from those for which the batch was written, the error is ErrDamaged. The records are
// valid until take returns. An error of take ends Decode.
func (d *Batch) Decode(src []byte, n int, identity func(series int64) (id uint64, known bool),
	wanted func(series int64) bool, take func(Section) error) error {
	src, err := verified(src, 0)
	if err != nil {
		return err
	}
	b, sections, err := outline(src, n)
	if err != nil {
		return err
	}
	sum, all := uint32(0), true
	for i := range sections {
		s := &sections[i]
		var known bool
		if s.identity, known = identity(s.series); !known {
			all = false
		}
		sum = addIdentity(sum, s.identity)
	}
	if all && sum != binary.LittleEndian.Uint32(src[len(src)-4:]) {
		return ErrDamaged
	}
	return d.decode(b, sections, wanted, take)
}

// part is the position of a section in a batch.
type part struct {
	series     int64
	identity   uint64
	n          int
	ownMoments bool // the section contains its moments; false: they are those of the one before
	body       []byte
}

// outline returns the positions of the sections of a batch of n records without decoding them.
func outline(src []byte, n int) (base, []part, error) {
	if len(src) < 4 || n < 1 || n > MaxInBatch {
		return base{}, nil, ErrDamaged
	}
	h := header{src: src[:len(src)-4]}
	b := base{at: h.signed(), unit: int64(h.unsigned()), clock: h.signed(), zone: int32(h.signed()), boot: int32(h.signed())}
	var sections []part
	series, held, before := int64(0), 0, -1
	for len(h.src) > 0 {
		series += int64(h.unsigned())
		size, length := h.unsigned(), h.unsigned()
		if h.failed || size/2 < 1 || size/2 > uint64(n-held) || length > uint64(len(h.src)) || size&1 != 0 && before != int(size/2) {
			return base{}, nil, ErrDamaged
		}
		before = int(size / 2)
		held += before
		sections = append(sections, part{series: series, n: before, ownMoments: size&1 == 0, body: h.src[:length]})
		h.src = h.src[length:]
	}
	if h.failed || held != n {
		return base{}, nil, ErrDamaged
	}
	return b, sections, nil
}

func (d *Batch) decode(b base, sections []part, wanted func(series int64) bool, take func(Section) error) error {
	var moments []byte // of the last section with its own
	known := false     // moments are decoded
	for _, s := range sections {
		body := s.body
		if s.ownMoments {
			moments, known = body, false
		}
		if wanted != nil && !wanted(s.series) {
			continue
		}
		if !known {
			rest, err := d.moments.decode(moments, s.n)
			if err != nil {
				return ErrDamaged
			}
			d.restore(b)
			known = true
			if s.ownMoments {
				body = rest
			}
		}
		if err := checkEnd(d.values.decode(body, s.n)); err != nil {
			return err
		}
		d.records = AppendRecords(d.records[:0], &d.moments, &d.values)
		for i := range d.records {
			r := &d.records[i]
			r.Zone += b.zone
			r.Clock += b.clock
			r.Boot += b.boot
		}
		if err := take(Section{s.series, s.identity, d.values.Texts != nil, d.records}); err != nil {
			return err
		}
	}
	return nil
}

// restore adds the base to decoded moments.
func (d *Batch) restore(b base) {
	for i, x := range d.moments.At {
		d.moments.At[i] = x*b.unit + b.at
	}
}

// header reads integers from the front of a batch.
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
