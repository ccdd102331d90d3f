package modbus

import (
	"errors"
	"maps"
	"slices"
	"time"
)

// A request to a slave that does not answer occupies the line for its whole time-out. So that such slaves do not
// delay the others, a request to a slave that answers comes first, and while at least one answers
//   - a slave that does not is asked again after a pause, which grows up to longestPause;
//   - after each request without an answer, the line is left to those that answer for as long as that
//     request took.
const (
	firstPause   = time.Second
	longestPause = 30 * time.Second
)

// presence is what is known of a slave.
type presence struct {
	answers bool          // it answered the latest request
	pause   time.Duration // before the next request, while it does not answer
	next    time.Time     // when that pause ends
}

// nextTurn removes from the waiting requests the one to be sent now. If there is none, wait is how long until the
// first one may be sent; 0 = none waits.
func (b *Bus) nextTurn(now time.Time) (x *exchange, wait time.Duration) {
	first, at := -1, time.Time{}
	for i, x := range b.waiting {
		due := b.due(x.request.Slave)
		if first < 0 || due.Before(at) {
			first, at = i, due
		}
	}
	if first < 0 {
		return nil, 0
	}
	if wait = at.Sub(now); wait > 0 {
		return nil, wait
	}
	x = b.waiting[first]
	b.waiting = slices.Delete(b.waiting, first, first+1)
	return x, 0
}

// due returns the earliest time of a request to a slave, which is also its priority. It is the zero time for a slave
// that answers.
func (b *Bus) due(slave byte) time.Time {
	its := b.slaves[slave]
	switch {
	case its.answers:
		return time.Time{}
	case !b.anyAnswers():
		return time.Time{}.Add(1) // after those that answer
	case its.next.After(b.rest):
		return its.next
	}
	return b.rest
}

func (b *Bus) anyAnswers() bool {
	for _, its := range b.slaves {
		if its.answers {
			return true
		}
	}
	return false
}

// note records whether a slave answered the request that began at a time, and reports whether it was absent
// already or never asked before.
func (b *Bus) note(slave byte, err error, begun time.Time) (absent bool) {
	its := b.slaves[slave]
	var refused Exception
	switch {
	case err == nil, errors.As(err, &refused), errors.Is(err, ErrBadFrame):
		if !its.answers { // what brought it back may have brought others back
			maps.DeleteFunc(b.slaves, func(_ byte, other presence) bool { return !other.answers })
		}
		b.slaves[slave] = presence{answers: true}
	case errors.Is(err, ErrNoAnswer):
		now := time.Now()
		b.rest = now.Add(now.Sub(begun))
		if absent = !its.answers; absent {
			its.pause = min(max(2*its.pause, firstPause), longestPause)
		}
		its.answers, its.next = false, now.Add(its.pause)
		b.slaves[slave] = its
	}
	return absent
}
