// Package chunk packs the readings of one series into blocks of bytes: their
// moments in one block and their values in another, so that series which were
// read at the same moments can share the first. Whole commits of many series are
// packed into one block by AppendBatch.
//
// The package works on bytes and uses no file. Every block ends with a checksum. Bytes that
// do not match it give ErrDamaged; no input causes a panic.
//
// # Format
//
// "Column" is a column of integers as package column codes it, "unsigned" and
// "signed" are its integers of varying length. n is the number of records, which
// is kept beside the block. A column that the flags leave out is all zero. The
// identity of a series is a checksum of all that names its place, its least byte first.
//
// Moments:
//
//	byte      flags: 1 zones, 2 clocks, 4 boots
//	column    moments, ns since 1970-01-01 in UTC; not decreasing
//	column    zones, seconds east of UTC (flag 1)
//	column    clocks, wall clock minus time since the start of the machine, ns (flag 2)
//	column    boots, the number of the start of the machine (flag 4); 0 = not known
//	4 bytes   checksum
//
// Values:
//
//	byte      flags: 1 texts, 2 qualities, 4 ranks
//	column    counts; or the lengths of the texts in bytes, and the texts (flag 1)
//	column    qualities, the bits of reading.Quality (flag 2)
//	column    ranks, which put readings of the same moment in order (flag 4)
//	4 bytes   checksum of the seed (8 bytes identity of the series, 4 bytes checksum
//	          of the moments) and all bytes before it; so that values are never taken
//	          for those of another place or of other moments
//
// Batch:
//
//	signed    base moment, ns
//	unsigned  unit, ns: the greatest common divisor of all moments less the base
//	signed    base clock, ns
//	signed    base zone, s
//	signed    base boot
//	sections  until the checksum; the series stand in rising order:
//	            unsigned  number of the series, less that of the section before
//	            unsigned  number of records n, times two; plus 1 where the moments
//	                      are those of the section before and do not follow
//	            unsigned  number of bytes of the moments and values that follow
//	            moments   without a checksum; moments less the base, in units;
//	                      clocks, zones and boots less their bases
//	            values    without a checksum
//	4 bytes   names: the checksum of the identities of all sections' series, 8 bytes
//	          each, in their order
//	4 bytes   checksum
//
// A checksum is the CRC-32 of all bytes before it with Castagnoli's polynomial
// (RFC 3720, section 12.1), its least byte first.
package chunk

import (
	"encoding/binary"
	"errors"
	"hash/crc32"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/store/internal/column"
)

// ErrDamaged is the error of bytes that are not a block of this format.
var ErrDamaged = errors.New("stored readings are damaged")

// Record is one reading of a series.
type Record struct {
	At      int64  // ns since 1970 in UTC
	Clock   int64  // ns by which the wall clock is ahead of the monotonic one; 0 = not known
	Count   int64  // of the series' form; 0 where Text is set
	Text    string // of a series whose texts have no form
	Zone    int32  // s east of UTC
	Boot    int32  // number of the machine's start; 0 = not known
	Rank    int32  // order among readings of the same moment
	Quality reading.Quality
}

// MaxRecords is the largest number of records in a block of a series.
const MaxRecords = 4096

const (
	hasZones = 1 << iota
	hasClocks
	hasBoots
)

const (
	hasTexts = 1 << iota
	hasQualities
	hasRanks
)

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// Seed is the start value of the checksum of values. It identifies their series and their
// moments.
type Seed uint32

// NewSeed returns the seed of the values of a series at the moments in a block.
func NewSeed(identity uint64, moments []byte) Seed {
	var sum [4]byte // zero for a block that is too short, which is refused when it is decoded
	if n := len(moments) - 4; n >= 0 {
		copy(sum[:], moments[n:])
	}
	return Seed(crc32.Update(addIdentity(0, identity), castagnoli, sum[:]))
}

// addIdentity continues a checksum with the identity of a series.
func addIdentity(sum uint32, identity uint64) uint32 {
	var b [8]byte
	binary.LittleEndian.PutUint64(b[:], identity)
	return crc32.Update(sum, castagnoli, b[:])
}

// seal appends the checksum of the bytes of dst from an offset on.
func seal(dst []byte, from int, seed Seed) []byte {
	return binary.LittleEndian.AppendUint32(dst, crc32.Update(uint32(seed), castagnoli, dst[from:]))
}

// verified returns the bytes before a checksum if that matches.
func verified(src []byte, seed Seed) ([]byte, error) {
	n := len(src) - 4
	if n < 0 || binary.LittleEndian.Uint32(src[n:]) != crc32.Update(uint32(seed), castagnoli, src[:n]) {
		return nil, ErrDamaged
	}
	return src[:n], nil
}

// AppendMoments appends the moments of records in the order of time to dst.
func AppendMoments(dst []byte, records []Record) []byte {
	from := len(dst)
	return seal(appendMoments(dst, records, base{unit: 1}), from, 0)
}

// AppendValues appends the values of records to dst: counts, or texts if texts is true.
func AppendValues(dst []byte, records []Record, texts bool, seed Seed) []byte {
	from := len(dst)
	return seal(appendValues(dst, records, texts), from, seed)
}

func appendMoments(dst []byte, records []Record, b base) []byte {
	var any Record // bits in which any record differs from the base
	for _, r := range records {
		any.Zone |= r.Zone ^ b.zone
		any.Clock |= r.Clock ^ b.clock
		any.Boot |= r.Boot ^ b.boot
	}
	flags := flag(any.Zone != 0, hasZones) | flag(any.Clock != 0, hasClocks) | flag(any.Boot != 0, hasBoots)
	var buffer [MaxRecords]int64
	dst = append(dst, flags)
	if b.unit == 1 {
		dst = appendColumn(dst, records, &buffer, func(r *Record) int64 { return r.At - b.at })
	} else {
		dst = appendColumn(dst, records, &buffer, func(r *Record) int64 { return (r.At - b.at) / b.unit })
	}
	if flags&hasZones != 0 {
		dst = appendColumn(dst, records, &buffer, func(r *Record) int64 { return int64(r.Zone - b.zone) })
	}
	if flags&hasClocks != 0 {
		dst = appendColumn(dst, records, &buffer, func(r *Record) int64 { return r.Clock - b.clock })
	}
	if flags&hasBoots != 0 {
		dst = appendColumn(dst, records, &buffer, func(r *Record) int64 { return int64(r.Boot - b.boot) })
	}
	return dst
}

func appendValues(dst []byte, records []Record, texts bool) []byte {
	var any Record
	for _, r := range records {
		any.Quality |= r.Quality
		any.Rank |= r.Rank
	}
	flags := flag(texts, hasTexts) | flag(any.Quality != 0, hasQualities) | flag(any.Rank != 0, hasRanks)
	var buffer [MaxRecords]int64
	dst = append(dst, flags)
	if texts {
		dst = appendColumn(dst, records, &buffer, func(r *Record) int64 { return int64(len(r.Text)) })
		for _, r := range records {
			dst = append(dst, r.Text...)
		}
	} else {
		dst = appendColumn(dst, records, &buffer, func(r *Record) int64 { return r.Count })
	}
	if flags&hasQualities != 0 {
		dst = appendColumn(dst, records, &buffer, func(r *Record) int64 { return int64(r.Quality) })
	}
	if flags&hasRanks != 0 {
		dst = appendColumn(dst, records, &buffer, func(r *Record) int64 { return int64(r.Rank) })
	}
	return dst
}

func appendColumn(dst []byte, records []Record, buffer *[MaxRecords]int64, of func(*Record) int64) []byte {
	v := buffer[:]
	if len(records) > MaxRecords {
		v = make([]int64, len(records))
	}
	v = v[:len(records)]
	for i := range records {
		v[i] = of(&records[i])
	}
	return column.Append(dst, v)
}

func flag(set bool, bit byte) byte {
	if set {
		return bit
	}
	return 0
}
