package recorder

import (
	"math"
	"time"
	"unsafe"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/watch/machine"
)

// entry is a reading that waits. While a disk is full hundreds of thousands wait, so
// that it takes few bytes.
type entry struct {
	shared    *shared
	value     float64
	date      int64 // ns since 1970
	sinceBoot time.Duration
	counts    int64
	text      uint32 // where its text begins in the block's
	length    uint16 // of its text, bytes
	quality   reading.Quality
}

// shared is what the readings of a channel have in common as long as step and unit stay.
type shared struct {
	channel         *channel
	run, step, unit string
	perCount        float64 // SI value of a register's count; 0 = there are none
}

// block is a piece of a queue. The texts of its entries stand one after the other, so
// that none keeps the line that it came from.
type block struct {
	entries []entry
	texts   []byte
}

// blockSize is how many readings a block holds. A queue without room loses a block at a
// time.
const blockSize = 512

func (b *block) bytes() int { return cap(b.entries)*int(unsafe.Sizeof(entry{})) + cap(b.texts) }

// queue is what waits to be committed.
type queue struct {
	maxBytes       int // bytes that the readings may take
	blocks         []*block
	olderBytes     int // bytes of all blocks but the newest
	takenFromFirst int // entries of the oldest block that are taken already
	waiting        int // readings
	marks          []Mark
	taken          int           // readings that the writer holds
	oldest         time.Duration // since boot, of the first that waits
	dropped        uint64        // readings lost for want of room, ever
	unmarked       uint64        // … of which no mark was made yet
}

// maxMarks bounds the marks that wait; they are few, but a plug with a loose contact
// makes many. All together they take at most 3 MB.
const maxMarks = 2000

// maxMarkText is the most bytes of a waiting mark's text; a device sends what it likes.
const maxMarkText = 1024

func (q *queue) empty() bool { return q.waiting == 0 && len(q.marks) == 0 }

// newest returns the block that the next reading goes into.
func (q *queue) newest() *block {
	if n := len(q.blocks); n > 0 && len(q.blocks[n-1].entries) < blockSize {
		return q.blocks[n-1]
	} else if n > 0 {
		q.olderBytes += q.blocks[n-1].bytes()
	}
	b := &block{entries: make([]entry, 0, blockSize), texts: make([]byte, 0, 8*blockSize)}
	q.blocks = append(q.blocks, b)
	return b
}

// dropFirst takes the oldest block away.
func (q *queue) dropFirst() {
	if len(q.blocks) > 1 {
		q.olderBytes -= q.blocks[0].bytes()
	}
	q.waiting -= len(q.blocks[0].entries) - q.takenFromFirst
	q.blocks[0] = nil // its array stays
	q.blocks, q.takenFromFirst = q.blocks[1:], 0
}

// add appends a reading and reports whether the writer should be woken. If there is no room, the
// oldest readings are dropped, so that the kept ones continue without a gap.
func (q *queue) add(s *shared, at machine.Stamp, text string, value float64, counts int64, quality reading.Quality) bool {
	b := q.newest()
	for len(q.blocks) > 1 && q.olderBytes+b.bytes() > q.maxBytes {
		lost := len(q.blocks[0].entries) - q.takenFromFirst
		q.dropFirst()
		q.dropped += uint64(lost)
		q.unmarked += uint64(lost)
		q.oldest = q.firstSinceBoot(at.SinceBoot)
	}
	if at.Uncertain {
		quality |= reading.ClockUncertain
	}
	first := q.empty()
	if first {
		q.oldest = at.SinceBoot
	}
	text = text[:min(len(text), math.MaxUint16)] // a line is far shorter
	b.entries = append(b.entries, entry{s, value, at.Time.UnixNano(), at.SinceBoot, counts, uint32(len(b.texts)), uint16(len(text)), quality})
	b.texts = append(b.texts, text...)
	q.waiting++
	return first || q.waiting == batchSize
}

// firstSinceBoot returns when the oldest reading came, or where none waits, the moment
// given.
func (q *queue) firstSinceBoot(none time.Duration) time.Duration {
	if len(q.blocks) == 0 || q.takenFromFirst >= len(q.blocks[0].entries) {
		return none
	}
	return q.blocks[0].entries[q.takenFromFirst].sinceBoot
}

func (q *queue) addMark(m Mark) bool {
	m.Text = m.Text[:min(len(m.Text), maxMarkText)]
	if len(q.marks) >= maxMarks {
		q.marks = append(q.marks[:0], q.marks[1:]...)
	}
	first := q.empty()
	if first {
		q.oldest = m.Stamp.SinceBoot
	}
	q.marks = append(q.marks, m)
	return first
}

// redate dates all that waits as a clock does now.
func (q *queue) redate(c *machine.Clock) {
	for _, b := range q.blocks {
		for i := range b.entries {
			e := &b.entries[i]
			at := c.At(e.sinceBoot)
			e.date = at.Time.UnixNano()
			if e.quality &^= reading.ClockUncertain; at.Uncertain {
				e.quality |= reading.ClockUncertain
			}
		}
	}
	for i := range q.marks {
		q.marks[i].Stamp = c.At(q.marks[i].Stamp.SinceBoot)
	}
}

// batchSize is how many readings are committed at once at most. Waiting for more
// saves nothing.
const batchSize = 16_384

// take hands out the first readings, and all marks.
func (q *queue) take() (readings []reading.Recorded, marks []Mark) {
	readings = make([]reading.Recorded, 0, min(q.waiting, batchSize))
	for len(readings) < cap(readings) {
		b := q.blocks[0]
		for len(readings) < cap(readings) && q.takenFromFirst < len(b.entries) {
			readings = append(readings, b.recorded(q.takenFromFirst))
			q.takenFromFirst++
			q.waiting--
		}
		if q.takenFromFirst == len(b.entries) {
			q.dropFirst()
		}
	}
	marks, q.marks = q.marks, nil
	q.taken = len(readings)
	q.oldest = q.firstSinceBoot(q.oldest)
	return readings, marks
}

// recorded returns an entry as the store takes it.
func (b *block) recorded(i int) reading.Recorded {
	e := b.entries[i]
	s, c := e.shared, e.shared.channel
	return reading.Recorded{
		Reading: reading.Reading{Time: time.Unix(0, e.date).UTC(), Step: s.step, Quantity: c.Quantity, From: c.From, To: c.To,
			Text: string(b.texts[e.text:][:e.length]), Unit: s.unit, Value: e.value, Meter: c.meter.Name, Quality: e.quality,
			Counts: reading.Counts{N: e.counts, PerCount: s.perCount}},
		Run: s.run, Probe: c.probe.name, SinceBoot: e.sinceBoot,
	}
}
