package recorder

import (
	"fmt"
	"strings"
	"testing"
	"time"
)

// A probe that is open and sends nothing, or nothing that can be read, is reported once within the
// time limit, and so is the end of that.
func TestSilentAndGarbled(t *testing.T) {
	t.Parallel()
	s := newSocket(t)
	pair := s.plug()
	c := open(t, plan(t, hall+probeOn("board", s.path)), Options{})
	unwell := func(why string) func() bool {
		return func() bool { got := c.Snapshot().Reasons(); return len(got) == 1 && strings.Contains(got[0], why) }
	}
	well := func() bool { return len(c.Snapshot().Reasons()) == 0 }
	c.pass(maxSilence)
	c.until("silent", unwell("probe board: is silent"))
	say(t, pair, "1,4.9,V\n")
	c.until("well", well)
	say(t, pair, strings.Repeat("1,4.9,W\n", 50))
	c.until("heard", func() bool { return c.Snapshot().Probes[0].Bad == 50 })
	c.pass(lineErrorPeriod)
	c.until("garbled", unwell("probe board: most of its lines cannot be read"))
	say(t, pair, strings.Repeat("1,4.9,V\n", 50))
	c.stored(51)
	c.pass(lineErrorPeriod)
	c.until("well", well)
	if n := strings.Count(c.log.String(), "\n"); n != 5 {
		t.Errorf("%d lines of log:\n%s", n, c.log)
	}
}

// Lines that are read at once get different times, in their order.
func TestBurst(t *testing.T) {
	t.Parallel()
	s := newSocket(t)
	pair := s.plug()
	c := open(t, plan(t, hall+probeOn("board", s.path)), Options{})
	say(t, pair, strings.Repeat("1,4.9,V\n2,1,A\n", 50))
	c.stored(100)
	for i := 1; i < 100; i++ {
		if before, x := c.shelf.readings[i-1], c.shelf.readings[i]; x.SinceBoot <= before.SinceBoot || !x.Time.After(before.Time) {
			t.Fatalf("reading %d: %v after %v", i, x, before)
		}
	}
}

// A step that the new run file does not have ends.
func TestStepIsGone(t *testing.T) {
	t.Parallel()
	s := newSocket(t)
	pair := s.plug()
	text := hall + probeOn("board", s.path)
	c := open(t, plan(t, text), Options{})
	if err := c.Announce("white", 0, "a test"); err != nil {
		t.Fatal(err)
	}
	c.Use(t.Context(), plan(t, strings.Replace(text, `"white"`, `"pale"`, 1)))
	for i := range 2 {
		say(t, pair, fmt.Sprintf("1,%d,V\n", i))
		c.stored(i + 1)
		if got := c.shelf.readings[i]; got.Step != "" || c.Snapshot().Step != "" {
			t.Errorf("reading %d: step %q", i, got.Step)
		}
		// It does not return after a scheduled step.
		c.mu.Lock()
		c.steps.scheduled = 0
		c.mu.Unlock()
		time.Sleep(100 * time.Millisecond) // for the check that ends the schedule
	}
}
