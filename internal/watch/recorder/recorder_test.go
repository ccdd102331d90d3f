package recorder

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"ohmkeep/internal/reading"
)

var replugs = flag.Int("replugs", 6, "how often the board is unplugged")

// A board that was unplugged is opened under its new name and recorded again. Each gap is marked at
// both ends.
func TestUnplugged(t *testing.T) {
	t.Parallel()
	s := newSocket(t)
	pair := s.plug()
	c := open(t, plan(t, hall+probeOn("board", s.path)), Options{})
	up := func() bool { return c.Snapshot().Probes[0].Up }
	for i := range *replugs {
		c.until("up", up)
		say(t, pair, fmt.Sprintf("1,%d,V\n1,4.", i)) // half a line goes with the board
		c.stored(i + 1)
		s.unplug(pair)
		c.until("down", func() bool { return !up() })
		pair = s.plug()
	}
	c.until("up", up)
	c.end()
	for i, text := range c.shelf.texts() {
		if text != fmt.Sprint(i) {
			t.Fatalf("reading %d is %s", i, text)
		}
	}
	gaps := strings.Repeat(" lost found", *replugs)
	if got := c.shelf.kinds(); got != "started"+gaps+" stopped" {
		t.Errorf("marks: %s", got)
	}
	if n := strings.Count(c.log.String(), "\n"); n > 2*(*replugs)+1 {
		t.Errorf("%d lines of log for %d gaps:\n%s", n, *replugs, c.log)
	}
	if got := c.Snapshot().Probes[0]; got.Lost != uint64(*replugs) || got.Stored != uint64(*replugs) {
		t.Errorf("%+v", got)
	}
}

// A board that is absent is tried repeatedly with one line of log, and recorded when it appears.
// Until then its channel's age grows.
func TestAbsent(t *testing.T) {
	t.Parallel()
	s := newSocket(t)
	c := open(t, plan(t, hall+probeOn("board", s.path)), Options{})
	time.Sleep(300 * time.Millisecond)
	if got := c.Snapshot(); len(got.Reasons()) != 1 || !strings.Contains(got.Reasons()[0], "is the device plugged in?") {
		t.Errorf("reasons: %q", got.Reasons())
	}
	if n := strings.Count(c.log.String(), "\n"); n != 1 || !strings.Contains(c.log.String(), "probe=board") {
		t.Errorf("log:\n%s", c.log)
	}
	pair := s.plug()
	c.until("up", func() bool { return c.Snapshot().Probes[0].Up })
	say(t, pair, "1,4.9,V\n")
	c.stored(1)
	s.unplug(pair)
	c.pass(time.Minute)
	if age := c.Snapshot().Probes[0].Channels[0].Age; age == nil || *age < 60 || *age > 70 {
		t.Errorf("age %v", age)
	}
	if age := c.Snapshot().Probes[0].Channels[1].Age; age != nil {
		t.Errorf("a channel that was never heard has age %v", *age)
	}
}

// Noise, half lines, lines of unknown channels and lines without end stand between good ones. Each
// good one is stored, each bad one counted, and the log stays short.
func TestNonsense(t *testing.T) {
	t.Parallel()
	s := newSocket(t)
	pair := s.plug()
	c := open(t, plan(t, hall+probeOn("board", s.path)), Options{})
	rng := rand.New(rand.NewPCG(1, 2))
	bad := []string{"", "1,4.8", "1,4.8,V,", "1, 4.8,V", "1,inf,V", "1,0x1p3,V", "1,9.9E37,V", "1,4.8,A", "2,1,V", "3,1,V", "1,4.8,W", "1,4.8,degC",
		"1,-300,degC", "\x00\x01", "\xff\xfe1,4.8,V", strings.Repeat("9", 600), "1,1e999,V", "V,1,4.8", "1;4.8;V"}
	var want []string
	wrong := uint64(0)
	for i := range 400 {
		if rng.IntN(2) == 0 {
			say(t, pair, bad[rng.IntN(len(bad))]+"\n")
			wrong++
			continue
		}
		text := fmt.Sprintf("%d.%03d", rng.IntN(6), i)
		want = append(want, text)
		for _, piece := range []string{"1,", text, ",V", []string{"\n", "\r\n"}[i%2]} {
			say(t, pair, piece)
		}
		if i%50 == 0 {
			say(t, pair, "# a comment\n")
		}
	}
	c.stored(len(want))
	if got := c.shelf.texts(); !reflect.DeepEqual(got, want) {
		t.Errorf("stored %d, want %d: %v", len(got), len(want), got)
	}
	if got := c.Snapshot().Probes[0].Bad; got != wrong {
		t.Errorf("%d bad lines counted of %d", got, wrong)
	}
	if n := strings.Count(c.log.String(), "\n"); n > 2 {
		t.Errorf("%d lines of log:\n%s", n, c.log)
	}
}

// A value beyond the ranges of its channel's meter is marked, and not stored as measured.
func TestOverload(t *testing.T) {
	t.Parallel()
	s := newSocket(t)
	pair := s.plug()
	text := hall + "[[meter]]\nname = \"small\"\nerrors = \"each\"\n[[meter.range]]\nquantity = \"voltage\"\nup_to = 6\nresolution = 0.001\npercent = 1\n" +
		"[[meter.range]]\nquantity = \"current\"\nup_to = 6\nresolution = 0.001\npercent = 1\n" +
		strings.Replace(probeOn("board", s.path), "port", "meter = \"small\"\nport", 1)
	c := open(t, plan(t, text), Options{})
	say(t, pair, "1,6.5,V\n1,5.9,V\n")
	c.stored(1)
	c.end()
	if got := c.shelf.texts(); len(got) != 1 || got[0] != "5.9" {
		t.Errorf("values: %v", got)
	}
	if first := c.shelf.readings[0]; first.Quality != reading.Overload || first.Text != "6.5" {
		t.Errorf("%+v", first)
	}
	if got := c.Snapshot().Probes[0]; got.Unusable != 1 || got.Bad != 0 || got.Stored != 1 {
		t.Errorf("%+v", got)
	}
}

// A reading is on disk within the commit interval of its arrival, with one commit an interval
// instead of one a reading.
func TestCommitInTime(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		const interval = 400 * time.Millisecond
		c, pair := simulated(t, Options{Commit: interval})
		c.until("the start is stored", func() bool { return c.shelf.kinds() == "started" })
		c.shelf.mu.Lock()
		before := c.shelf.commits
		c.shelf.mu.Unlock()
		begun := time.Now()
		for i := range 30 {
			say(t, pair, fmt.Sprintf("1,%d,V\n", i))
			time.Sleep(time.Millisecond)
		}
		c.stored(30)
		if took := time.Since(begun); took > interval {
			t.Errorf("safe after %v", took)
		}
		c.shelf.mu.Lock()
		defer c.shelf.mu.Unlock()
		if n := c.shelf.commits - before; n != 1 {
			t.Errorf("%d commits", n)
		}
	})
}

// The first commit comes early, so that a new watch soon shows that it works.
func TestFirstReadingSoon(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		begun := time.Now()
		c, pair := simulated(t, Options{Commit: time.Minute})
		say(t, pair, "1,4.9,V\n")
		c.stored(1)
		if took := time.Since(begun); took > time.Second {
			t.Errorf("took %v", took)
		}
	})
}

// While the disk is full the readings wait. When there is space again all are stored in their
// order. The log has one line for each of the two events.
func TestDiskFull(t *testing.T) {
	t.Parallel()
	s := newSocket(t)
	pair := s.plug()
	c := open(t, plan(t, hall+probeOn("board", s.path)), Options{})
	say(t, pair, "1,0,V\n")
	c.stored(1)
	c.shelf.fill(errFull)
	for i := 1; i < 100; i++ {
		say(t, pair, fmt.Sprintf("1,%d,V\n", i))
	}
	c.until("unwell", func() bool {
		got := c.Snapshot()
		return len(got.Reasons()) == 1 && got.Failures >= 2 && got.Waiting == 99
	})
	if got := c.Snapshot(); !strings.Contains(got.Reasons()[0], "the disk is full") || got.Waiting != 99 || got.Probes[0].Stored != 1 {
		t.Errorf("%+v", got)
	}
	c.shelf.fill(nil)
	c.stored(100)
	for i, text := range c.shelf.texts() {
		if text != fmt.Sprint(i) {
			t.Fatalf("reading %d is %s", i, text)
		}
	}
	if n := strings.Count(c.log.String(), "\n"); n != 3 { // open, full, committing again
		t.Errorf("log:\n%s", c.log)
	}
	if got := c.Snapshot(); len(got.Reasons()) > 0 || got.Dropped != 0 {
		t.Errorf("%+v", got)
	}
}

// When the queue is full the oldest readings are dropped and counted, and a mark gives their
// number.
func TestNoRoom(t *testing.T) {
	t.Parallel()
	s := newSocket(t)
	pair := s.plug()
	const room, said = 100_000, 5000
	c := open(t, plan(t, hall+probeOn("board", s.path)), Options{QueueBytes: room})
	c.until("the start is stored", func() bool { return c.shelf.kinds() == "started" })
	c.shelf.fill(errFull)
	say(t, pair, "1,0,V\n")
	c.until("the first is held", func() bool { return c.Snapshot().Failures > 0 })
	for i := 1; i < said; i++ {
		say(t, pair, fmt.Sprintf("1,%d,V\n", i))
	}
	c.until("all heard", func() bool { s := c.Snapshot(); return s.Waiting+int(s.Dropped) == said })
	c.mu.Lock()
	size := c.queue.olderBytes + c.queue.newest().bytes()
	c.mu.Unlock()
	if size > room || size < room/2 {
		t.Errorf("what waits takes %d bytes of %d", size, room)
	}
	c.shelf.fill(nil)
	c.until("all stored", func() bool { return c.Snapshot().Waiting == 0 })
	c.until("told", func() bool { return strings.Contains(c.shelf.kinds(), "dropped") })
	texts := c.shelf.texts()
	lost := int(c.Snapshot().Dropped)
	if len(texts)+lost != said || lost < said/2 {
		t.Fatalf("%d stored, %d dropped", len(texts), lost)
	}
	for i, text := range texts[1:] { // behind what the writer held the newest are left, each as it came
		if text != fmt.Sprint(lost+1+i) {
			t.Fatalf("reading %d is %s, not %d", i, text, lost+1+i)
		}
	}
}

// One reading that the store refuses does not delay the others, and none is stored twice when the
// disk is full at times.
func TestRefused(t *testing.T) {
	t.Parallel()
	for _, flaky := range []bool{false, true} {
		synctest.Test(t, func(t *testing.T) {
			c, pair := simulated(t, Options{})
			c.shelf.mu.Lock()
			c.shelf.poison, c.shelf.flaky = "7", flaky
			c.shelf.mu.Unlock()
			for i := range 20 {
				say(t, pair, fmt.Sprintf("1,%d,V\n", i))
			}
			c.stored(19)
			c.until("counted", func() bool { return c.Snapshot().Refused == 1 && c.Snapshot().Waiting == 0 })
			if got := strings.Join(c.shelf.texts(), " "); got != "0 1 2 3 4 5 6 8 9 10 11 12 13 14 15 16 17 18 19" {
				t.Error(got)
			}
			if got := c.Snapshot().Probes[0].Stored; got != 19 {
				t.Errorf("%d counted as stored", got)
			}
		})
	}
}

// The wall clock is set back a year and forward a day. The dates stay in order and are uncertain,
// until it is right again.
func TestClockIsSet(t *testing.T) {
	t.Parallel()
	s := newSocket(t)
	pair := s.plug()
	c := open(t, plan(t, hall+probeOn("board", s.path)), Options{})
	year, day := 365*24*time.Hour, 24*time.Hour
	for i, by := range []time.Duration{0, -year, year, day, -day} {
		c.machine.turn(by)
		c.clock.Check()
		say(t, pair, fmt.Sprintf("1,%d,V\n", i))
		c.stored(i + 1)
	}
	want := []bool{false, true, false, true, false}
	var before reading.Recorded
	for i, x := range c.shelf.readings {
		if uncertain := x.Quality&reading.ClockUncertain != 0; uncertain != want[i] || !x.Quality.Measured() {
			t.Errorf("reading %d: %+v", i, x)
		}
		if i > 0 && (!x.Time.After(before.Time) || x.Time.Sub(before.Time) > time.Minute || x.SinceBoot <= before.SinceBoot) {
			t.Errorf("reading %d: %v after %v", i, x, before)
		}
		before = x
	}
}

// At the end of the watch all that has arrived is stored within two seconds, even if more arrives
// all the time.
func TestEnd(t *testing.T) {
	s := newSocket(t)
	pair := s.plug()
	c := open(t, plan(t, hall+probeOn("board", s.path)), Options{Commit: time.Hour})
	for i := range 500 {
		say(t, pair, fmt.Sprintf("1,%d,V\n", i))
	}
	begun := time.Now()
	c.end()
	if took := time.Since(begun); took > 20*time.Second { // ten times as long, on a machine that is busy with other work
		t.Errorf("took %v", took)
	}
	if n := len(c.shelf.texts()); n != 500 {
		t.Errorf("%d of 500 stored", n)
	}
}

// A disk that does not respond delays the end of the watch no longer than the limit.
func TestEndWhileFull(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		c, pair := simulated(t, Options{})
		c.shelf.fill(errFull)
		say(t, pair, "1,4,V\n")
		c.until("failed", func() bool { return c.Snapshot().Failures > 0 })
		begun := time.Now()
		c.end()
		if took := time.Since(begun); took > 2*time.Second {
			t.Errorf("took %v", took)
		}
	})
}
