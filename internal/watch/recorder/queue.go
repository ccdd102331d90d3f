package recorder

import (
	"math"
	"time"
	"unsafe"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/watch/machine"
)

// entry is a reading in the queue. It is small, because hundreds of thousands wait while a
// disk is full.
type entry struct {
	shared    *shared
	value     float64
	date      int64 // ns since 1970
	sinceBoot time.Duration
	counts    int64
	text      uint32 // offset of its text in block.texts
	length    uint16 // of its text, bytes
	quality   reading.Quality
	lateDate  bool // the sample itself says that its date is uncertain; a clock set right does not change that
}

// shared is what readings of a channel have in common while step and unit do not change.
type shared struct {
	channel         *channel
	run, step, unit string
	perCount        float64 // SI value of a register's count; 0 = there are none
}

// block is a part of a queue. It copies the texts of its entries, so that the received lines
// can be freed.
type block struct {
	entries []entry
	texts   []byte
}

// blockSize is the number of readings in a block. A full queue drops one block at a time.
const blockSize = 512

func (b *block) bytes() int { return cap(b.entries)*int(unsafe.Sizeof(entry{})) + cap(b.texts) }

// queue holds what is not committed yet.
type queue struct {
	maxBytes       int // bytes that the readings may take
	blocks         []*block
	olderBytes     int // bytes of all blocks but the newest
	takenFromFirst int // entries of the oldest block that were taken
	waiting        int // readings
	marks          []Mark
	taken          int           // readings that the writer holds
	oldest         time.Duration // when the oldest reading or mark arrived, since boot
	dropped        uint64        // readings dropped from a full queue since the start
	unmarked       uint64        // … of which no mark was made yet
	added, removed uint64        // readings, since the start
	awaited        []awaited     // lines whose sender waits until they are safe on disk, the oldest first
	lost           []func(bool)  // of such lines that were dropped
}

// maxMarks is the largest number of waiting marks: a plug with a loose contact makes many.
// Together they take at most 3 MB.
const maxMarks = 2000

// maxMarkText is the largest number of bytes of a mark's text, part of which a device may send.
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

// dropFirst drops the oldest block.
func (q *queue) dropFirst() {
	if len(q.blocks) > 1 {
		q.olderBytes -= q.blocks[0].bytes()
	}
	q.waiting -= len(q.blocks[0].entries) - q.takenFromFirst
	q.blocks[0] = nil // so that it can be freed
	q.blocks, q.takenFromFirst = q.blocks[1:], 0
}

// add appends a reading and reports whether the writer should be woken. If there is no room, the
// oldest readings are dropped, so that the kept ones continue without a gap.
func (q *queue) add(s *shared, at machine.Stamp, text string, value float64, counts int64, quality reading.Quality) bool {
	b := q.newest()
	for len(q.blocks) > 1 && q.olderBytes+b.bytes() > q.maxBytes {
		lost := len(q.blocks[0].entries) - q.takenFromFirst
		q.dropFirst()
		q.lose(lost)
		q.dropped += uint64(lost)
		q.unmarked += uint64(lost)
		q.oldest = q.firstSinceBoot(at.SinceBoot)
	}
	late := quality&reading.ClockUncertain != 0
	if at.Uncertain {
		quality |= reading.ClockUncertain
	}
	first := q.empty()
	if first {
		q.oldest = at.SinceBoot
	}
	text = text[:min(len(text), math.MaxUint16)] // a line is far shorter
	b.entries = append(b.entries, entry{s, value, at.Time.UnixNano(), at.SinceBoot, counts, uint32(len(b.texts)), uint16(len(text)), quality, late})
	b.texts = append(b.texts, text...)
	q.waiting++
	q.added++
	return first || q.waiting == batchSize
}

// firstSinceBoot returns when the oldest reading arrived, since boot; none if there is no
// reading.
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

// redate dates all entries and marks by the present state of the clock.
func (q *queue) redate(c *machine.Clock) {
	for _, b := range q.blocks {
		for i := range b.entries {
			e := &b.entries[i]
			at := c.At(e.sinceBoot)
			e.date = at.Time.UnixNano()
			if e.quality &^= reading.ClockUncertain; at.Uncertain || e.lateDate {
				e.quality |= reading.ClockUncertain
			}
		}
	}
	for i := range q.marks {
		q.marks[i].Stamp = c.At(q.marks[i].Stamp.SinceBoot)
	}
}

// batchSize is the largest number of readings in one commit. Larger commits save nothing.
const batchSize = 16_384

// take removes and returns the oldest readings, at most batchSize, and all marks.
func (q *queue) take() Batch {
	var readings []reading.Recorded
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
	b := Batch{Readings: readings, Marks: q.marks}
	q.marks = nil
	q.taken = len(readings)
	q.oldest = q.firstSinceBoot(q.oldest)
	q.removed += uint64(len(readings))
	for len(q.awaited) > 0 && q.awaited[0].to <= q.removed {
		b.kept = append(b.kept, q.awaited[0].done)
		q.awaited = q.awaited[1:]
	}
	return b
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
