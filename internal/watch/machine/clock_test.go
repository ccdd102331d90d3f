package machine

import (
	"fmt"
	"strings"
	"testing"
	"time"
)

// board is a machine whose clocks the test sets.
type board struct {
	wall         time.Time
	since        time.Duration
	synchronised bool
	battery      bool
}

func (b *board) Wall() time.Time          { return b.wall }
func (b *board) SinceBoot() time.Duration { return b.since }
func (b *board) Boot() string             { return "b1" }
func (b *board) Synchronised() bool       { return b.synchronised }
func (b *board) Battery() bool            { return b.battery }

func (b *board) pass(d time.Duration) { b.wall, b.since = b.wall.Add(d), b.since+d }
func (b *board) turn(d time.Duration) { b.wall = b.wall.Add(d) }

var (
	noon  = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	floor = noon.Add(-time.Hour) // the newest stored reading
	day   = 24 * time.Hour
	year  = 365 * day
)

// Each case is a machine at its start and a list of events. After each event a reading is dated;
// the date is written as its error, with "?" if it is uncertain.
func TestClock(t *testing.T) {
	type event struct {
		name string
		do   func(*board)
		want string
	}
	wait := func(d time.Duration) func(*board) { return func(b *board) { b.pass(d) } }
	turn := func(d time.Duration) func(*board) { return func(b *board) { b.turn(d) } }
	sync := func(b *board) { b.synchronised = true }
	for _, c := range []struct {
		name    string
		board   board
		off     time.Duration // the wall clock at the start
		stored  time.Duration // the newest stored reading, beside floor
		start   string
		events  []event
		changes string // that were reported: C certain, u uncertain
	}{
		{"a battery clock", board{battery: true}, 0, 0, "0s", []event{
			{"hours", wait(5 * time.Hour), "0s"},
			{"a small correction", turn(500 * time.Millisecond), "500ms"},
		}, "C"},
		{"no battery, begins in 1970", board{}, noon.Sub(epoch) * -1, 0, "-59m59.999s?", []event{
			{"a minute", wait(time.Minute), "-59m59.999s?"},
			{"set right", turn(noon.Sub(epoch)), "0s"},
			{"a minute", wait(time.Minute), "0s"},
		}, "uC"},
		{"no battery, begins when it was last off", board{}, -30 * time.Minute, 0, "-30m0s?", []event{
			{"a minute", wait(time.Minute), "-30m0s?"},
			{"time service", func(b *board) { b.turn(30 * time.Minute); b.synchronised = true }, "0s"},
		}, "uC"},
		{"synchronised, with any stored date", board{synchronised: true}, -day, 0, "-24h0m0s", nil, "C"},
		{"a battery that is empty", board{battery: true}, -year, 0, "-59m59.999s?", []event{
			{"still", wait(time.Minute), "-59m59.999s?"},
			{"time service", func(b *board) { b.turn(year); b.synchronised = true }, "0s"},
		}, "uC"},
		{"set back a year and again right", board{battery: true}, 0, 0, "0s", []event{
			{"set back", turn(-year), "0s?"},
			{"hours", wait(5 * time.Hour), "0s?"},
			{"set right", turn(year), "0s"},
		}, "CuC"},
		{"set forward a day", board{battery: true}, 0, 0, "0s", []event{
			{"set forward", turn(day), "0s?"},
			{"a while", wait(59 * time.Minute), "0s?"},
			{"steady for an hour", wait(2 * time.Minute), "24h0m0s"},
		}, "CuC"},
		{"set forward and back", board{battery: true}, 0, 0, "0s", []event{
			{"set forward", turn(day), "0s?"},
			{"set to something else", turn(day), "0s?"},
			{"back", turn(-2 * day), "0s"},
		}, "CuuC"},
		{"set back within what is stored stands", board{battery: true}, 0, 0, "0s", []event{
			{"set back", turn(-30 * time.Minute), "0s?"},
			{"steady for an hour", wait(61 * time.Minute), "-30m0s"},
		}, "CuC"},
		{"set forward by a time service", board{battery: true}, 0, 0, "0s", []event{
			{"time service", sync, "0s"},
			{"set forward", turn(day), "24h0m0s"},
		}, "CC"},
		{"one start in 2099, then a battery clock that is right", board{battery: true}, 0, 73 * year, "639479h0m0.001s?", []event{
			{"a while", wait(59 * time.Minute), "639479h0m0.001s?"},
			{"steady for an hour", wait(2 * time.Minute), "0s"},
			{"hours", wait(5 * time.Hour), "0s"},
		}, "uC"},
		{"one start in 2099, then a time service", board{}, 0, 73 * year, "639479h0m0.001s?", []event{
			{"hours", wait(5 * time.Hour), "639479h0m0.001s?"},
			{"time service", sync, "0s"},
		}, "uC"},
		{"one start in 2099, then set by a person", board{}, -day, 73 * year, "639479h0m0.001s?", []event{
			{"hours", wait(5 * time.Hour), "639479h0m0.001s?"},
			{"set right", turn(day), "639479h0m0.001s?"},
			{"steady for an hour", wait(61 * time.Minute), "0s"},
		}, "uuC"},
		{"no battery, begins before what is stored, and is never set", board{}, -90 * time.Minute, 0, "-59m59.999s?", []event{
			{"hours", wait(5 * time.Hour), "-59m59.999s?"},
		}, "u"},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := c.board
			b.since, b.wall = time.Minute, noon.Add(c.off)
			var reported strings.Builder
			k := NewClock(&b, floor.Add(c.stored), func(x ClockChange) {
				reported.WriteByte("uC"[map[bool]int{false: 0, true: 1}[x.Certain]])
				if x.Why == "" {
					t.Error("a change without a reason")
				}
			})
			date := func() string {
				k.Check()
				s := k.Now()
				if s.Boot != "b1" || s.SinceBoot != b.since || s.Uncertain == k.Certain() {
					t.Errorf("%+v", s)
				}
				mark := ""
				if s.Uncertain {
					mark = "?"
				}
				return fmt.Sprint(s.Time.Sub(noon.Add(b.since-time.Minute)), mark)
			}
			if got := date(); got != c.start {
				t.Errorf("at the start: %s, want %s", got, c.start)
			}
			for _, e := range c.events {
				e.do(&b)
				if got := date(); got != e.want {
					t.Errorf("%s: %s, want %s", e.name, got, e.want)
				}
			}
			if reported.String() != c.changes {
				t.Errorf("reported %s, want %s", reported.String(), c.changes)
			}
		})
	}
}

// Each moment since boot is dated by the present relation of the two clocks, whether it is past or
// future.
func TestAt(t *testing.T) {
	b := board{wall: noon, since: time.Hour, battery: true}
	k := NewClock(&b, time.Time{}, nil)
	if got := k.At(59 * time.Minute); !got.Time.Equal(noon.Add(-time.Minute)) || got.SinceBoot != 59*time.Minute {
		t.Errorf("%+v", got)
	}
	if k.SinceBoot() != time.Hour {
		t.Error(k.SinceBoot())
	}
}

// hasty is a machine that is delayed between reading its two clocks.
type hasty struct {
	board
	reads int
}

func (h *hasty) Wall() time.Time {
	h.reads++
	if h.reads%7 < 3 { // now and then
		h.pass(50 * time.Millisecond)
	}
	return h.wall
}

// Dates stay in order on a busy machine, and while the wall clock is corrected a little in either
// direction.
func TestOrder(t *testing.T) {
	h := &hasty{board: board{wall: noon, since: time.Hour, battery: true}}
	k := NewClock(h, floor, nil)
	last := k.Now()
	for i := range 3000 {
		h.pass(3 * time.Millisecond)
		switch {
		case i%500 == 250, i%500 == 270: // the second while the dates still creep
			h.turn(-150 * time.Millisecond)
		case i%500 == 400:
			h.turn(300 * time.Millisecond)
		}
		before := k.At(h.since - time.Millisecond)
		if i%10 == 0 {
			k.Check()
		}
		s := k.Now()
		if !s.Time.After(last.Time) || !s.Time.After(before.Time) {
			t.Fatalf("%d: %v after %v", i, s, last)
		}
		if off := s.Time.Sub(h.wall).Abs(); off > 310*time.Millisecond || s.Uncertain {
			t.Fatalf("%d: %v off", i, off)
		}
		last = s
	}
}

// jittery is a machine whose wall clock reads with jitter.
type jittery struct {
	board
	reads int
}

func (j *jittery) Wall() time.Time {
	j.reads++
	return j.wall.Add(time.Duration(j.reads%4) * time.Millisecond)
}

// Neither a delay nor jitter changes the dates: the time between two readings is that since boot.
func TestSteady(t *testing.T) {
	busy := &hasty{board: board{wall: noon, since: time.Hour, battery: true}}
	jitters := &jittery{board: board{wall: noon, since: time.Hour, battery: true}}
	for name, m := range map[string]struct {
		Clocks
		pass func(time.Duration)
	}{"busy": {busy, busy.pass}, "jitters": {jitters, jitters.pass}} {
		k := NewClock(m.Clocks, floor, nil)
		last := k.Now()
		for range 300 {
			m.pass(time.Second)
			k.Check()
			s := k.Now()
			if passed := s.SinceBoot - last.SinceBoot; s.Time.Sub(last.Time) != passed {
				t.Fatalf("%s: %v between dates, %v passed", name, s.Time.Sub(last.Time), passed)
			}
			last = s
		}
	}
}
