package recorder

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/watch/machine"
)

// The run file is reloaded repeatedly while a board sends: no reading is lost, and each belongs to
// the run that was in force.
func TestReadAnew(t *testing.T) {
	t.Parallel()
	s := newSocket(t)
	pair := s.plug()
	text := hall + probeOn("board", s.path)
	c := open(t, plan(t, text), Options{})
	other := plan(t, strings.Replace(text, `"Hall"`, `"Stairs"`, 1))
	same := plan(t, text)
	const all, at = 2000, 100
	for n := 0; n < all; n += at {
		said := make(chan struct{})
		go func() {
			defer close(said)
			for i := range at {
				say(t, pair, fmt.Sprintf("1,%d,V\n", n+i))
			}
		}()
		c.Use(t.Context(), []Plan{other, same}[n/at%2]) // while the board speaks
		<-said
		c.stored(n + at)
	}
	runs := map[string]int{}
	for i, x := range c.shelf.readings {
		if x.Text != fmt.Sprint(i) {
			t.Fatalf("reading %d is %s", i, x.Text)
		}
		runs[x.Run]++
	}
	if runs["Hall"] == 0 || runs["Stairs"] == 0 {
		t.Errorf("%v", runs)
	}
	if n := strings.Count(c.log.String(), "probe opened"); n != 1 {
		t.Errorf("opened %d times", n)
	}
}

// A probe whose port changes is closed there and opened here. One that is removed is closed, and
// its totals stay.
func TestProbeMoves(t *testing.T) {
	t.Parallel()
	a, b := newSocket(t), newSocket(t)
	first, second := a.plug(), b.plug()
	c := open(t, plan(t, hall+probeOn("board", a.path)), Options{})
	say(t, first, "1,1,V\n")
	c.stored(1)
	c.Use(t.Context(), plan(t, hall+probeOn("board", b.path)))
	say(t, second, "1,2,V\n")
	c.stored(2)
	if got := c.Snapshot(); len(got.Probes) != 1 || got.Probes[0].Stored != 2 || got.Probes[0].Port != b.path {
		t.Errorf("%+v", got)
	}
}

// An announced step labels the readings after it. An unknown step is refused and changes nothing.
func TestAnnounce(t *testing.T) {
	t.Parallel()
	s := newSocket(t)
	pair := s.plug()
	c := open(t, plan(t, hall+probeOn("board", s.path)), Options{})
	for i, step := range []string{"", "white", "dark", ""} {
		if err := c.Announce(step, 0, "a test"); err != nil {
			t.Fatal(err)
		}
		if err := c.Announce("wite", 0, "a test"); err == nil || err.Error() != `step: no step is named "wite" (did you mean "white"?)` {
			t.Fatalf("got %v", err)
		}
		say(t, pair, fmt.Sprintf("1,%d,V\n", i))
		c.stored(i + 1)
		if got := c.shelf.readings[i]; got.Step != step || got.Quality != reading.Good || c.Snapshot().Step != step {
			t.Errorf("reading %d: step %q, %v", i, got.Step, got.Quality)
		}
	}
	if err := c.Announce("white", time.Minute, "a test"); err != nil {
		t.Fatal(err)
	}
	say(t, pair, "1,9,V\n")
	c.stored(5)
	if got := c.shelf.readings[4]; got.Step != "white" || got.Quality != reading.Unsettled {
		t.Errorf("%+v", got)
	}
}

// A scheduled step is in force while it lasts, unsettled at first, also over midnight; then the
// announced one is in force again. With an uncertain clock no scheduled step is in force.
func TestSchedule(t *testing.T) {
	p := plan(t, hall+"[[check]]\nstep = \"white\"\nat = \"23:59\"\nseconds = 120\nsettle_seconds = 5\n")
	var s steps
	s.use(p.Run)
	s.announced = "dark"
	start := time.Date(2026, 3, 1, 23, 59, 0, 0, time.Local)
	at := func(d time.Duration, certain bool) (string, reading.Quality) {
		since := time.Hour + d
		s.followSchedule(machine.Stamp{Time: start.Add(d).UTC(), SinceBoot: since}, certain)
		return s.at(since)
	}
	for _, c := range []struct {
		after   time.Duration
		certain bool
		step    string
		quality reading.Quality
	}{
		{-time.Second, true, "", reading.Good},
		{time.Second, true, "white", reading.Unsettled},
		{4 * time.Second, true, "white", reading.Unsettled},
		{5 * time.Second, true, "white", reading.Good},
		{119 * time.Second, true, "white", reading.Good}, // 00:00:59 of the next day
		{120 * time.Second, true, "dark", reading.Good},
		{24 * time.Hour, false, "dark", reading.Good},
		{24*time.Hour + 30*time.Second, true, "white", reading.Good}, // it has been steady for long
		{24*time.Hour + 31*time.Second, false, "dark", reading.Good},
	} {
		if step, q := at(c.after, c.certain); step != c.step || q != c.quality {
			t.Errorf("after %v: %q, %v", c.after, step, q)
		}
	}
	if step, _ := s.at(time.Hour + 60*time.Second); step != "white" {
		t.Errorf("a line of a while ago is of step %q", step)
	}
}
