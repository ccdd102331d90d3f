// Package machine reads the machine's clocks and the space on its disk.
//
// A Clock dates events on a machine whose wall clock may be wrong. Small boards often
// have no battery clock: they start in the past and are set right minutes later, or
// never. So a Clock counts the time since boot, which cannot be set, and keeps an
// anchor: the date that a moment of it had. Every Stamp has the time since boot and the
// boot's id beside its date, so that a date can be corrected later, and says whether the
// date is uncertain.
//
// While the wall clock contradicts the anchor, dates go on from the anchor and are
// uncertain. They follow the wall clock again once a time service steers it, or after it
// has stood for an hour. Within one boot dates run backwards only for such a correction.
// A stored date that lies in the future of a wall clock is contradicted in the same way: one
// start with a wrong date does not bind those after it. A clock without a battery that
// nobody has set since the start is not believed for standing.
//
// A Clock reads the Clocks that it is given and nothing else, and logs nothing.
package machine

import (
	"sync"
	"time"
)

// Clocks are the clocks of a machine.
type Clocks interface {
	// Wall is the wall clock as it is set.
	Wall() time.Time
	// SinceBoot counts while the machine sleeps too, and is never set.
	SinceBoot() time.Duration
	// Boot is an id of this boot.
	Boot() string
	// Synchronised reports whether a time service steers the wall clock.
	Synchronised() bool
	// Battery reports whether the wall clock runs on while the machine is off.
	Battery() bool
}

// Stamp says when something happened.
type Stamp struct {
	Time      time.Time     // the date, as well as it is known, in UTC
	Boot      string        // id of the boot …
	SinceBoot time.Duration // … and how long after it
	Uncertain bool          // Time may be wrong
}

const (
	// slack is a difference that is taken for the system's own small correction.
	slack = 2 * time.Second
	// grain is what reading two clocks one after the other may be off, and more.
	grain = 5 * time.Millisecond
	// standing is how long a clock that was set must go on before it is believed without
	// a time service.
	standing = time.Hour
)

// Clock gives Stamps. It may be used by several goroutines at once.
type Clock struct {
	machine Clocks

	mu      sync.Mutex
	floor   time.Time     // no date before this one can be right
	offset  time.Duration // of the anchor: date − since boot, from the Unix epoch
	certain bool
	rival   time.Duration // the contradicting wall clock's offset …
	since   time.Duration // … and since when (since boot) it has been that
	rivals  bool
	set     bool // the wall clock was set since the start, or runs on a battery
	fresh   bool // no date of this boot has been certain yet
	turned  turn
	change  func(ClockChange)
}

// ClockChange is a change of what the dates are based on.
type ClockChange struct {
	Stamp
	Certain bool
	By      time.Duration // how far the dates moved; 0 where they went on
	Why     string
}

// Earliest is a date before which no reading of this program was taken.
var Earliest = time.Date(2026, time.January, 1, 0, 0, 0, 0, time.UTC)

// NewClock makes a clock. floor is a date that is past as far as is known, such as that of
// the newest reading whose date is certain; dates begin after it. change is called with every
// change; it must not call the clock.
func NewClock(m Clocks, floor time.Time, change func(ClockChange)) *Clock {
	c := &Clock{machine: m, floor: floor.UTC(), change: change}
	since, wall := both(m)
	c.offset = wall.Sub(epoch) - since
	c.certain = m.Synchronised() || m.Battery() && !wall.Before(c.floor)
	c.fresh, c.set = !c.certain, m.Battery()
	if wall.Before(c.floor) && !c.certain {
		// Later than all that is stored, so that the order is kept.
		c.rival, c.since, c.rivals = c.offset, since, true
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
	c.tell(since, 0, why)
	return c
}

var epoch = time.Unix(0, 0).UTC()

// turn is a small correction backwards: dates before it stay, and those after it
// creep until the corrected ones have caught up, so that their order is kept.
type turn struct {
	at     time.Duration // since boot
	before time.Duration // the offset until then
}

// creep is how much slower than time dates go meanwhile.
const creep = 1000

// both reads the two clocks as nearly at once as the machine lets it: a program that is
// kept from running between the two would see the wall clock jump.
func both(m Clocks) (since time.Duration, wall time.Time) {
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
	// Between whole milliseconds lies nothing that a wall clock is good for, and a
	// distance of whole ones is stored in few bytes.
	return since, epoch.Add((wall.Sub(epoch) - since).Round(time.Millisecond) + since)
}

// SinceBoot gives the present moment for At.
func (c *Clock) SinceBoot() time.Duration { return c.machine.SinceBoot() }

// Certain reports whether dates are certain at present.
func (c *Clock) Certain() bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.certain
}

// At dates a moment of this boot.
func (c *Clock) At(since time.Duration) Stamp {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.at(since)
}

func (c *Clock) at(since time.Duration) Stamp {
	date := c.offset + since
	if t := c.turned; t.at > 0 {
		if since < t.at {
			date = t.before + since
		} else {
			date = max(date, t.before+t.at+(since-t.at)/creep)
		}
	}
	return Stamp{Time: epoch.Add(date), Boot: c.machine.Boot(), SinceBoot: since, Uncertain: !c.certain}
}

// Now dates the present moment.
func (c *Clock) Now() Stamp { return c.At(c.machine.SinceBoot()) }

// Look compares the wall clock with the dates. It is to be called every second or
// so, and before readings are stored.
func (c *Clock) Look() {
	since, wall := both(c.machine)
	synchronised := c.machine.Synchronised()
	c.mu.Lock()
	defer c.mu.Unlock()
	offset := wall.Sub(epoch) - since
	by := offset - c.offset
	small := by <= slack && by >= -slack
	switch {
	case synchronised:
		if c.fresh || !c.certain || !small {
			c.adopt(since, offset, "a time service steers the clock")
		} else {
			c.correct(since, offset)
		}
	case small && c.certain:
		c.correct(since, offset)
	case small && !c.fresh:
		c.adopt(since, offset, "the wall clock is back where it was")
	case small:
		// Uncertain from the start, and nothing new is known.
	case c.fresh && by > 0 && !wall.Before(c.floor):
		c.adopt(since, offset, "the wall clock was set to a plausible time")
	case !c.rivals || abs(offset-c.rival) > slack:
		c.rival, c.since, c.rivals, c.set, c.certain = offset, since, true, true, false
		c.tell(since, 0, "the wall clock was set by "+by.Round(time.Second).String())
	case since-c.since >= standing && c.set && !wall.Before(Earliest):
		c.adopt(since, offset, "the wall clock has stood for an hour as it was set")
	}
}

// correct follows a small correction of the wall clock, if it is one.
func (c *Clock) correct(since, offset time.Duration) {
	if abs(offset-c.offset) <= grain {
		return
	}
	ahead := c.at(since).Time.Sub(epoch) - since // of the dates, which may still creep
	c.turned = turn{}
	if offset < ahead {
		c.turned = turn{since, ahead}
	}
	c.offset, c.rivals = offset, false
}

// adopt makes the wall clock the anchor.
func (c *Clock) adopt(since, offset time.Duration, why string) {
	by := offset - c.offset
	c.offset, c.certain, c.rivals, c.fresh = offset, true, false, false
	c.turned = turn{}
	c.tell(since, by, why)
}

func (c *Clock) tell(since, by time.Duration, why string) {
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
