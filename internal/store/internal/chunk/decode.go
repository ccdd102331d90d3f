package chunk

import (
	"ohmkeep/internal/reading"
	"ohmkeep/internal/store/internal/column"
)

// Moments are the moments of a block as columns. A column that is all zero is nil. Decoding into
// the same Moments reuses its memory.
type Moments struct {
	At, Zones, Clocks, Boots []int64

	memory [4][]int64
}

// Values are the values of a block as columns: Counts, or Texts where the series
// has no form. Qualities and Ranks are nil where they are all zero.
type Values struct {
	Counts    []int64
	Texts     []string
	Qualities []int64
	Ranks     []int64

	memory [3][]int64
}

// Decode decodes the moments of n records. The error is ErrDamaged.
func (m *Moments) Decode(src []byte, n int) error {
	src, err := verified(src, 0)
	if err != nil {
		return err
	}
	return checkEnd(m.decode(src, n))
}

// DecodeUntil decodes the moments of n records without zones, clocks and boots. It may stop after
// the moment last; the others are then set to a later moment.
func (m *Moments) DecodeUntil(src []byte, n int, last int64) error {
	src, err := verified(src, 0)
	if err != nil {
		return err
	}
	c, _ := newColumns(src, n, m.memory[:])
	m.At, m.Zones, m.Clocks, m.Boots = c.reuse(), nil, nil, nil
	if c.err == nil {
		c.err = column.DecodeUntil(m.At, c.src, last)
	}
	if c.err != nil {
		return ErrDamaged
	}
	return nil
}

// Decode decodes the values of n records. The error is ErrDamaged.
func (v *Values) Decode(src []byte, n int, seed Seed) error {
	src, err := verified(src, seed)
	if err != nil {
		return err
	}
	return checkEnd(v.decode(src, n))
}

func checkEnd(rest []byte, err error) error {
	if err != nil || len(rest) > 0 {
		return ErrDamaged
	}
	return nil
}

func (m *Moments) decode(src []byte, n int) ([]byte, error) {
	c, flags := newColumns(src, n, m.memory[:])
	m.At = c.next(true)
	m.Zones = c.next(flags&hasZones != 0)
	m.Clocks = c.next(flags&hasClocks != 0)
	m.Boots = c.next(flags&hasBoots != 0)
	return c.src, c.err
}

func (v *Values) decode(src []byte, n int) ([]byte, error) {
	c, flags := newColumns(src, n, v.memory[:])
	v.Counts, v.Texts = c.next(true), nil
	if flags&hasTexts != 0 && c.err == nil {
		v.Texts = make([]string, n)
		for i, length := range v.Counts {
			if length < 0 || length > int64(len(c.src)) {
				return nil, ErrDamaged
			}
			v.Texts[i], c.src = string(c.src[:length]), c.src[length:]
		}
		v.Counts = nil
	}
	v.Qualities = c.next(flags&hasQualities != 0)
	v.Ranks = c.next(flags&hasRanks != 0)
	return c.src, c.err
}

// columns decodes columns one after the other.
type columns struct {
	src    []byte
	n      int
	memory [][]int64
	err    error
}

func newColumns(src []byte, n int, memory [][]int64) (c *columns, flags byte) {
	c = &columns{src: src, n: n, memory: memory}
	if len(src) == 0 || n < 1 || n > maxColumn {
		c.err = ErrDamaged
		return c, 0
	}
	c.src = src[1:]
	return c, src[0]
}

// maxColumn is the largest number of records in a column. A few bytes can encode any number of equal
// ones, so a damaged length cannot make the program allocate more.
const maxColumn = MaxInBatch

func (c *columns) next(there bool) []int64 {
	if !there || c.err != nil {
		c.memory = c.memory[1:]
		return nil
	}
	v := c.reuse()
	c.memory = c.memory[1:]
	if c.src, c.err = column.Decode(v, c.src); c.err != nil {
		return nil
	}
	return v
}

// reuse returns memory of an earlier column for the next one.
func (c *columns) reuse() []int64 {
	if c.err != nil {
		return nil
	}
	memory := &c.memory[0]
	if cap(*memory) < c.n {
		*memory = make([]int64, max(c.n, MaxRecords))
	}
	return (*memory)[:c.n]
}

// at returns number i of a column, or 0 if the column is nil.
func at(v []int64, i int) int64 {
	if v == nil {
		return 0
	}
	return v[i]
}

// AppendRecords combines moments and values into records and appends them to dst.
func AppendRecords(dst []Record, m *Moments, v *Values) []Record {
	for i, moment := range m.At {
		r := Record{
			At: moment, Zone: int32(at(m.Zones, i)), Clock: at(m.Clocks, i), Boot: int32(at(m.Boots, i)),
			Rank: int32(at(v.Ranks, i)), Quality: reading.Quality(at(v.Qualities, i)),
		}
		if v.Texts != nil {
			r.Text = v.Texts[i]
		} else {
			r.Count = v.Counts[i]
		}
		dst = append(dst, r)
	}
	return dst
}

// Quality returns the quality of record i.
func (v *Values) Quality(i int) reading.Quality { return reading.Quality(at(v.Qualities, i)) }
