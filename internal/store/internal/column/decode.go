package column

import (
	"encoding/binary"
	"errors"
	mathbits "math/bits"
)

// ErrDamaged is the error of bytes that are not a column of the given length.
var ErrDamaged = errors.New("a coded column is damaged")

// Decode decodes a column of len(v) numbers from the front of src into v and returns the
// bytes after it.
func Decode(v []int64, src []byte) (rest []byte, err error) {
	r := reader{src: src}
	for u := r.begin(v); len(u) > 0 && r.err == nil; u = u[min(len(u), BlockSize):] {
		r.block(u[:min(len(u), BlockSize)])
	}
	return r.src, r.err
}

// DecodeUntil is Decode for a column whose numbers do not decrease. It may stop after the number
// last; the others are then math.MaxInt64.
func DecodeUntil(v []int64, src []byte, last int64) error {
	r := reader{src: src}
	u := r.begin(v)
	for len(u) > 0 && r.err == nil {
		n := min(len(u), BlockSize)
		r.block(u[:n])
		beyond := u[n-1]
		if u = u[n:]; beyond > last {
			for i := range u {
				u[i] = beyond
			}
			break
		}
	}
	return r.err
}

// begin reads the part before the blocks and returns the numbers that the blocks contain.
func (r *reader) begin(v []int64) []int64 {
	if len(v) == 0 {
		return nil
	}
	r.first = r.signed()
	v[0] = r.first
	if len(v) == 1 {
		return nil
	}
	if r.g = int64(r.unsigned()); r.g == 0 {
		for i := range v {
			v[i] = r.first
		}
		return nil
	}
	return v[1:]
}

// reader decodes a column. After an error it returns zeros.
type reader struct {
	src   []byte
	err   error
	first int64
	g     int64
	last  int64 // as a multiple of g from the first number, as all predictions are
	slope int64
}

func (r *reader) unsigned() uint64 {
	x, n := binary.Uvarint(r.src)
	if n <= 0 {
		r.fail()
		return 0
	}
	r.src = r.src[n:]
	return x
}

func (r *reader) signed() int64 { return unzigzag(r.unsigned()) }

func (r *reader) fail() { r.err, r.src = ErrDamaged, nil }

func (r *reader) block(u []int64) {
	if len(r.src) == 0 {
		r.fail()
		return
	}
	predictor, k := r.src[0]>>6, uint(r.src[0]&63)
	r.src = r.src[1:]
	var c int64
	switch predictor {
	case previous:
		c = r.signed()
	case line:
		c = r.signed()
		r.slope += r.signed()
	case smooth:
	default:
		r.fail()
	}
	if r.err != nil {
		return
	}
	if k == allZero {
		clear(u)
	} else if r.rice(u, k); r.err != nil {
		return
	}
	first, g := r.first, r.g
	switch p := r.last; predictor {
	case previous:
		for i, x := range u {
			p += c + x
			u[i] = p*g + first
		}
		r.last = p
	case line:
		at, slope := c<<interceptShift+half, r.slope
		var last int64
		for i, x := range u {
			at += slope
			last = x + p + at>>slopeBits
			u[i] = last*g + first
		}
		r.last = last
	case smooth:
		m := p << 4
		var last int64
		for i, x := range u {
			last = x + predicted(m)
			u[i] = last*g + first
			m = smoothed(m, last)
		}
		r.last = last
	}
}

// maxWindowK is the largest k for which any residual without an escape fits into a window that
// was refilled from the middle of a byte: 56 bits less 7.
const maxWindowK = 56 - 7 - maxZeros

// rice reads residuals.
func (r *reader) rice(u []int64, k uint) {
	at := 0 // in bits
	for {
		if k <= 4 {
			n, bits := riceWindowPairs(u, r.src, at, k)
			u, at = u[n:], bits
		}
		if k <= maxWindowK {
			n, bits := riceWindow(u, r.src, at, k)
			u, at = u[n:], bits
		}
		if len(u) == 0 {
			break
		}
		b := bitReader{src: r.src, at: at}
		if u[0] = b.residual(k); b.bad {
			r.fail()
			return
		}
		u, at = u[1:], b.at
	}
	r.src = r.src[(at+7)/8:]
}

// riceWindow decodes residuals up to the first that is escaped or within the last bytes. It
// returns their number and the position in bits. The window holds the next bits, the first one
// highest. Each refill gives 56 bits or more, enough for any residual.
func riceWindow(u []int64, src []byte, at int, k uint) (n, bits int) {
	skip := uint(at & 7)
	at >>= 3
	var window uint64
	var held uint
	for n < len(u) && at+8 <= len(src) {
		window |= binary.BigEndian.Uint64(src[at:]) >> (held & 63)
		at += int((63 - held) >> 3)
		held |= 56
		window <<= skip & 63
		held -= skip
		skip = 0
		q := uint(mathbits.LeadingZeros64(window))
		if q >= maxZeros {
			break
		}
		window <<= (q + 1) & 63
		z := uint64(q)<<(k&63) | window>>1>>((63-k)&63)
		window <<= k & 63
		held -= q + 1 + k
		u[n] = unzigzag(z)
		n++
	}
	return n, at*8 - int(held) + int(skip)
}

// riceWindowPairs is riceWindow with two residuals for each refill, for k up to 4.
func riceWindowPairs(u []int64, src []byte, at int, k uint) (n, bits int) {
	skip := uint(at & 7)
	at >>= 3
	if len(u) < 2 || at+8 > len(src) {
		return 0, at*8 + int(skip)
	}
	window := binary.BigEndian.Uint64(src[at:]) << (skip & 63)
	at += 7
	held := 56 - skip
	for ; n+1 < len(u) && at+8 <= len(src); n += 2 {
		window |= binary.BigEndian.Uint64(src[at:]) >> (held & 63)
		at += int((63 - held) >> 3)
		held |= 56
		q := uint(mathbits.LeadingZeros64(window))
		w := window << ((q + 1) & 63)
		z := uint64(q)<<(k&63) | w>>1>>((63-k)&63)
		w <<= k & 63
		q2 := uint(mathbits.LeadingZeros64(w))
		if q >= maxZeros || q2 >= maxZeros {
			break
		}
		w <<= (q2 + 1) & 63
		z2 := uint64(q2)<<(k&63) | w>>1>>((63-k)&63)
		window = w << (k & 63)
		held -= q + q2 + 2 + 2*k
		u[n], u[n+1] = unzigzag(z), unzigzag(z2)
	}
	return n, at*8 - int(held)
}

// bitReader reads single bits and records format errors. It is slower than riceWindow.
type bitReader struct {
	src []byte
	at  int // in bits
	bad bool
}

func (b *bitReader) take(n uint) (x uint64) {
	if b.at+int(n) > 8*len(b.src) {
		b.bad = true
		return 0
	}
	for n > 0 {
		room := 8 - uint(b.at)&7
		take := min(room, n)
		x = x<<take | uint64(b.src[b.at>>3]>>(room-take))&(1<<take-1)
		b.at += int(take)
		n -= take
	}
	return x
}

// residual reads any residual.
func (b *bitReader) residual(k uint) int64 {
	q := uint(0)
	for b.take(1) == 0 {
		if q++; q > maxZeros || b.bad {
			b.bad = true
			return 0
		}
	}
	switch {
	case q == maxZeros:
		return unzigzag(b.take(32)<<32 | b.take(32))
	case k > 30:
		high := b.take(k - 30)
		return unzigzag(uint64(q)<<k | high<<30 | b.take(30))
	}
	return unzigzag(uint64(q)<<k | b.take(k))
}
