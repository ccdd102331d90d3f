package column

import (
	"encoding/binary"
	"errors"
	"math/bits"
)

// ErrDamaged is the error of bytes that are no column of as many numbers.
var ErrDamaged = errors.New("a coded column is damaged")

// Decode decodes a column of len(v) numbers from the front of src into v and
// gives the bytes behind it.
func Decode(v []int64, src []byte) (rest []byte, err error) {
	if len(v) == 0 {
		return src, nil
	}
	r := reader{src: src}
	first := r.signed()
	v[0] = first
	if len(v) == 1 {
		return r.src, r.err
	}
	g := r.unsigned()
	if r.err != nil {
		return nil, r.err
	}
	if g == 0 {
		for i := range v {
			v[i] = first
		}
		return r.src, nil
	}
	u := v[1:]
	for from := 0; from < len(u); from += BlockSize {
		if r.block(u[from:min(from+BlockSize, len(u))]); r.err != nil {
			return nil, r.err
		}
	}
	if g == 1 {
		for i := range u {
			u[i] += first
		}
	} else {
		for i := range u {
			u[i] = u[i]*int64(g) + first
		}
	}
	return r.src, nil
}

// reader takes a column apart. After an error it gives zeros.
type reader struct {
	src   []byte
	err   error
	last  int64
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
	switch predictor {
	case previous:
		p := r.last
		for i, x := range u {
			p += c + x
			u[i] = p
		}
	case line:
		at := c<<coarse + half
		for i, x := range u {
			at += r.slope
			u[i] = x + r.last + at>>fraction
		}
	case smooth:
		m := r.last << 4
		for i, x := range u {
			x += predicted(m)
			u[i] = x
			m = smoothed(m, x)
		}
	}
	r.last = u[len(u)-1]
}

// rice reads residuals.
func (r *reader) rice(u []int64, k uint) {
	src, at := r.src, 0
	var window uint64 // the next bits, from the top
	var held uint     // how many of them are good
	if k <= 56-longest-1 {
		i := 0
		for ; i < len(u) && at+8 <= len(src); i++ {
			// Top up to 56 bits or more: enough for any residual without an escape.
			window |= binary.BigEndian.Uint64(src[at:]) >> held
			at += int((63 - held) >> 3)
			held |= 56
			q := uint(bits.LeadingZeros64(window))
			if q >= longest {
				break
			}
			window <<= q + 1
			z := uint64(q)<<k | window>>(64-k)
			window <<= k
			held -= q + 1 + k
			u[i] = unzigzag(z)
		}
		u = u[i:]
		// What the window holds is read again in small steps; bytes only begun
		// count as a whole.
		if len(u) == 0 {
			r.src = src[at-int(held>>3):]
			return
		}
	}
	b := bitReader{src: src, at: at*8 - int(held)}
	for i := range u {
		q := uint(0)
		for b.take(1) == 0 {
			if q++; q > longest || b.ran {
				r.fail()
				return
			}
		}
		if q == longest {
			u[i] = unzigzag(b.take(32)<<32 | b.take(32))
		} else {
			low := uint64(0)
			if k > 30 {
				low = b.take(k-30) << 30
				low |= b.take(30)
			} else {
				low = b.take(k)
			}
			u[i] = unzigzag(uint64(q)<<k | low)
		}
	}
	if b.ran {
		r.fail()
		return
	}
	r.src = src[(b.at+7)/8:]
}

// bitReader reads few bits, slowly, and notes when it runs out of them.
type bitReader struct {
	src []byte
	at  int // in bits
	ran bool
}

func (b *bitReader) take(n uint) (x uint64) {
	if b.at+int(n) > 8*len(b.src) {
		b.ran = true
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
