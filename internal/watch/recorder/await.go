package recorder

// awaited is a line whose sender keeps it until it is safe on disk, as a broker does. Its readings
// are those that were added to the queue from one count to another.
type awaited struct {
	from, to uint64
	done     func(kept bool)
}

// maxAwaited is the number of awaited lines that are committed at once, before the commit interval: a
// broker may hold back further lines. 20 is the limit of one that is common (common practice; the
// default of max_inflight_messages in the manual of Debian's mosquitto 2.0).
const maxAwaited = 10

// await calls done when the readings that were added since the count from are safe on disk. It
// reports whether the writer should be woken.
func (q *queue) await(from uint64, done func(kept bool)) bool {
	q.awaited = append(q.awaited, awaited{from, q.added, done})
	return len(q.awaited) == maxAwaited
}

// lose notes that the oldest n readings of the queue are dropped. The lines that they belong to are not
// kept.
func (q *queue) lose(n int) {
	q.removed += uint64(n)
	for len(q.awaited) > 0 && q.awaited[0].from < q.removed {
		q.lost = append(q.lost, q.awaited[0].done)
		q.awaited = q.awaited[1:]
	}
}
