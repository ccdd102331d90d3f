package recorder

import (
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/watch/clock"
)

// entry is a reading that waits, in few bytes: at full line rate tens of
// thousands wait.
type entry struct {
	channel    *channel
	run        string
	step       string
	text, unit string
	value      float64
	stamp      clock.Stamp
	quality    reading.Quality
	counts     reading.Counts
}

// queue is what waits to be committed.
type queue struct {
	room    int
	entries []entry
	marks   []Mark
	taken   int           // readings that the writer holds
	oldest  time.Duration // since boot, of the first that waits
	dropped uint64        // readings lost for want of room, ever
	untold  uint64        // … of which no mark was made yet
}

// mostMarks bounds the marks that wait; they are few, but a plug with a loose
// contact makes many.
const mostMarks = 10_000

func (q *queue) empty() bool { return len(q.entries) == 0 && len(q.marks) == 0 }

// add appends a reading and tells whether the writer should look.
func (q *queue) add(e entry) bool {
	if q.taken+len(q.entries) >= q.room {
		// The oldest go: what is kept then joins what comes after without a gap.
		n := min(len(q.entries), 1+q.room/100) // some at once, for moving costs
		q.entries = append(q.entries[:0], q.entries[n:]...)
		q.dropped += uint64(n)
		q.untold += uint64(n)
		if q.room <= q.taken {
			q.dropped++
			q.untold++
			return false
		}
	}
	first := q.empty()
	if first {
		q.oldest = e.stamp.SinceBoot
	}
	q.entries = append(q.entries, e)
	return first || len(q.entries) == batchSize
}

func (q *queue) addMark(m Mark) bool {
	if len(q.marks) >= mostMarks {
		q.marks = q.marks[1:]
	}
	first := q.empty()
	if first {
		q.oldest = m.Stamp.SinceBoot
	}
	q.marks = append(q.marks, m)
	return first
}

// batchSize is how many readings are committed at once at most. Waiting for more
// saves nothing.
const batchSize = 16_384

// take hands out the first readings, and all marks.
func (q *queue) take() (entries []entry, marks []Mark) {
	n := min(len(q.entries), batchSize)
	entries = append(entries, q.entries[:n]...)
	q.entries = append(q.entries[:0], q.entries[n:]...)
	marks, q.marks = q.marks, nil
	q.taken = n
	if n := len(q.entries); n > 0 {
		q.oldest = q.entries[0].stamp.SinceBoot
	} else if cap(q.entries) > 2*batchSize {
		q.entries = nil // a flood is over
	}
	return entries, marks
}
