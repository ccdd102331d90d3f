// Package machine reads the machine's clocks and the space on its disk.
//
// A Clock dates events on a machine whose wall clock may be wrong. Small boards often have no
// battery clock: they start with a date in the past and are set minutes later, or never. A Clock
// therefore counts the time since boot, which cannot be set, and keeps an anchor: the date of one
// moment of it. Every Stamp contains the time since boot and the boot's id beside its date, so that
// the date can be corrected later, and states whether the date is uncertain.
//
// While the wall clock contradicts the anchor, dates continue from the anchor and are uncertain.
// They follow the wall clock again once a time service steers it, or after it has been steady for
// an hour. Within one boot, dates go backwards only for such a correction. A stored date that lies
// in the future of the wall clock is treated in the same way: one start with a wrong date does not
// bind later ones. A clock without a battery that was not set since the start is not accepted for
// being steady.
//
// A Clock reads only the Clocks that it is given, and logs nothing.
package machine

import (
	"sync"
	"time"
)

// Clocks are the clocks of a machine.
type Clocks interface {
	// Wall returns the wall clock as it is set.
	Wall() time.Time
	// SinceBoot returns the time since boot. It includes the time in sleep and is never set.
	SinceBoot() time.Duration
	// Boot returns an id of this boot.
	Boot() string
	// Synchronised reports whether a time service steers the wall clock.
	Synchronised() bool
	// Battery reports whether the wall clock keeps running while the machine is off.
	Battery() bool
}

// Stamp is the time of an event.
type Stamp struct {
	Time      time.Time     // the date, as well as it is known, in UTC
	Boot      string        // id of the boot …
	SinceBoot time.Duration // … and how long after it
	Uncertain bool          // Time may be wrong
}

const (
	// maxCorrection is the largest difference that counts as a small correction by the system.
	maxCorrection = 2 * time.Second
	// clockReadError is more than the error of reading two clocks one after the other.
	clockReadError = 5 * time.Millisecond
	// steadyTime is how long a clock that was set must be steady before it is accepted without a time
	// service.
	steadyTime = time.Hour
)

// Clock returns Stamps. It may be used by several goroutines.
type Clock struct {
	machine Clocks

	mu                sync.Mutex
	floor             time.Time     // no date before this one can be right
	offset            time.Duration // of the anchor: date − since boot, from the Unix epoch
	certain           bool
	otherOffset       time.Duration // offset of the wall clock that contradicts the dates …
	contradictedSince time.Duration // … and since when it has had that offset, since boot
	contradicted      bool
	set               bool // the wall clock was set since the start, or runs on a battery
	neverCertain      bool // no date of this boot has been certain yet
	slewing           slew
	change            func(ClockChange)
}

// ClockChange is a change of the basis of dates.
type ClockChange struct {
	Stamp
	Certain bool
	By      time.Duration // by how much the dates moved; 0 = they continue
	Why     string
}

// Earliest is a date before which no reading of this program was taken.
var Earliest = time.Date(2026, time.January, 1, 0, 0, 0, 0, time.UTC)

// NewClock returns a clock. floor is a date in the past, such as that of the newest reading with a
// certain date; dates begin after it. change is called with every change; it must not call the
// clock.
func NewClock(m Clocks, floor time.Time, change func(ClockChange)) *Clock {
	c := &Clock{machine: m, floor: floor.UTC(), change: change}
	since, wall := readClocks(m)
	c.offset = wall.Sub(epoch) - since
	c.certain = m.Synchronised() || m.Battery() && !wall.Before(c.floor)
	c.neverCertain, c.set = !c.certain, m.Battery()
	if wall.Before(c.floor) && !c.certain {
		// Later than all that is stored, so that the order is kept.
		c.otherOffset, c.contradictedSince, c.contradicted = c.offset, since, true
		c.offset = c.floor.Add(time.Millisecond).Sub(epoch) - since
	}
	why := "the wall clock is plausible"
	switch {
	case m.Synchronised():
		why = "a time service steers the clock"
	case wall.Before(c.floor) && !c.certain:
		why = "the wall clock is earlier than what is stored"
	case !c.certain:
		why = "the machine has no battery clock and no time service has set it"
	}
	c.report(since, 0, why)
	return c
}

var epoch = time.Unix(0, 0).UTC()

// slew is a small correction backwards. Dates before it stay, and dates after it advance slowly
// until the corrected ones have caught up, so that the order is kept.
type slew struct {
	at     time.Duration // of the correction, since boot
	before time.Duration // offset before it
}

// slewFactor is the factor by which dates advance more slowly during a slew.
const slewFactor = 1000

// readClocks reads the two clocks as nearly at once as possible: if the program were suspended between
// the two, the wall clock would seem to jump.
func readClocks(m Clocks) (since time.Duration, wall time.Time) {
	best := time.Duration(1<<63 - 1)
	for range 5 {
		before := m.SinceBoot()
		w := m.Wall()
		after := m.SinceBoot()
		if apart := after - before; apart < best {
			best, since, wall = apart, before+apart/2, w
		}
		if best < 10*time.Microsecond {
			break
		}
	}
	// A wall clock is not accurate to less than 1 ms, and an offset of whole milliseconds
	// is stored in few bytes.
	return since, epoch.Add((wall.Sub(epoch) - since).Round(time.Millisecond) + since)
}

// SinceBoot returns the time since boot, as At takes it.
func (c *Clock) SinceBoot() time.Duration { return c.machine.SinceBoot() }

// Certain reports whether dates are certain now.
func (c *Clock) Certain() bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.certain
}

// At returns the stamp of a moment of this boot.
func (c *Clock) At(since time.Duration) Stamp {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.at(since)
}

func (c *Clock) at(since time.Duration) Stamp {
	date := c.offset + since
	if t := c.slewing; t.at > 0 {
		if since < t.at {
			date = t.before + since
		} else {
			date = max(date, t.before+t.at+(since-t.at)/slewFactor)
		}
	}
	return Stamp{Time: epoch.Add(date), Boot: c.machine.Boot(), SinceBoot: since, Uncertain: !c.certain}
}

// Now returns the stamp of the present moment.
func (c *Clock) Now() Stamp { return c.At(c.machine.SinceBoot()) }

// Check compares the wall clock with the dates. Call it about every second, and before readings are
// stored.
func (c *Clock) Check() {
	since, wall := readClocks(c.machine)
	synchronised := c.machine.Synchronised()
	c.mu.Lock()
	defer c.mu.Unlock()
	offset := wall.Sub(epoch) - since
	by := offset - c.offset
	small := by <= maxCorrection && by >= -maxCorrection
	switch {
	case synchronised:
		if c.neverCertain || !c.certain || !small {
			c.adopt(since, offset, "a time service steers the clock")
		} else {
			c.correct(since, offset)
		}
	case small && c.certain:
		c.correct(since, offset)
	case small && !c.neverCertain:
		c.adopt(since, offset, "the wall clock is back where it was")
	case small:
		// Uncertain from the start, and nothing new is known.
	case c.neverCertain && by > 0 && !wall.Before(c.floor):
		c.adopt(since, offset, "the wall clock was set to a plausible time")
	case !c.contradicted || abs(offset-c.otherOffset) > maxCorrection:
		c.otherOffset, c.contradictedSince, c.contradicted, c.set, c.certain = offset, since, true, true, false
		c.report(since, 0, "the wall clock was set by "+by.Round(time.Second).String())
	case since-c.contradictedSince >= steadyTime && c.set && !wall.Before(Earliest):
		c.adopt(since, offset, "the wall clock has been steady for an hour since it was set")
	}
}

// correct applies a small correction of the wall clock, if it is one.
func (c *Clock) correct(since, offset time.Duration) {
	if abs(offset-c.offset) <= clockReadError {
		return
	}
	ahead := c.at(since).Time.Sub(epoch) - since // offset of the dates, which may still be slewing
	c.slewing = slew{}
	if offset < ahead {
		c.slewing = slew{since, ahead}
	}
	c.offset, c.contradicted = offset, false
}

// adopt takes the wall clock's offset as the anchor, with certain dates.
func (c *Clock) adopt(since, offset time.Duration, why string) {
	by := offset - c.offset
	c.offset, c.certain, c.contradicted, c.neverCertain = offset, true, false, false
	c.slewing = slew{}
	c.report(since, by, why)
}

// report calls change.
func (c *Clock) report(since, by time.Duration, why string) {
	if c.change != nil {
		c.change(ClockChange{Stamp: c.at(since), Certain: c.certain, By: by, Why: why})
	}
}

func abs(d time.Duration) time.Duration {
	if d < 0 {
		return -d
	}
	return d
}
