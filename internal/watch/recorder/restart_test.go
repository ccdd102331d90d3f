package recorder

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/instrument/lines"
	"ohmkeep/internal/watch/machine"
)

// A board that sends its identity about once a minute has not restarted. One that sends it outside
// that interval, or another identity, has, and this is marked at a limited rate.
func TestBeginsAnew(t *testing.T) {
	t.Parallel()
	const a, b = "# serial 0001, INA226", "# serial 0002, INA226"
	for _, c := range []struct {
		name     string
		mute     bool // it gave no values before
		said     string
		restarts uint64
		marked   int
	}{
		{"at its start only", false, "0 " + a, 0, 0},
		{"before any value", true, "0 " + a + "\n3 " + a, 0, 0},
		{"every minute", false, "0 " + a + "\n60 " + a + "\n120 " + a + "\n181 " + a, 0, 0},
		{"first heard within the interval", false, "50 " + a + "\n110 " + a, 0, 0},
		{"first heard after long", false, "400 " + a, 1, 1},
		{"again after hours", false, "0 " + a + "\n7200 " + a, 1, 1},
		{"at once", false, "0 " + a + "\n3 " + a, 1, 1},
		{"outside its interval", false, "0 " + a + "\n60 " + a + "\n95 " + a, 1, 1},
		{"for ever", false, "0 " + a + strings.Repeat("\n+2 "+a, 100), 100, 1},
		{"for ever, and later", false, "0 " + a + strings.Repeat("\n+20 "+a, 100), 100, 4}, // 2000 s in tens of minutes
		{"another name each time", false, "0 " + a + renamed(100), 100, 1},
		{"another board", false, "0 " + a + "\n60 " + b, 1, 1},
		{"another remark", false, "0 " + a + "\n3 # 1: no answer\n5 # 1: no answer", 0, 0},
	} {
		m := &setClocks{started: time.Now()}
		r := New(plan(t, hall+probeOn("board", "nowhere")), Options{Clock: machine.NewClock(m, time.Time{}, nil)})
		p := newDevice(r, r.plan.Run.Probes[0], r.plan.Profiles[0], nil)
		p.changed = r.o.Clock.At(time.Hour)
		if !c.mute {
			p.good = 1
		}
		at := time.Hour
		for line := range strings.Lines(c.said) {
			var seconds int
			when, text, _ := strings.Cut(strings.TrimSuffix(line, "\n"), " ")
			if fmt.Sscan(when, &seconds); when[0] == '+' {
				at += time.Duration(seconds) * time.Second
			} else {
				at = time.Hour + time.Duration(seconds)*time.Second
			}
			p.comment(text, r.o.Clock.At(at))
		}
		marked := 0
		for _, m := range r.queue.marks {
			if m.Kind == Restarted && m.Probe == "board" && strings.HasPrefix(m.Text, "# serial") {
				marked++
			}
		}
		if p.totals.restarts != c.restarts || marked != c.marked {
			t.Errorf("%s: %d restarts, want %d; %d marks, want %d", c.name, p.totals.restarts, c.restarts, marked, c.marked)
		}
	}
}

// renamed returns lines of a board that sends another identity each time, two seconds apart.
func renamed(times int) string {
	var said strings.Builder
	for i := range times {
		fmt.Fprintf(&said, "\n+2 # serial %04d, INA226", 2+i)
	}
	return said.String()
}

// The next event that is allowed carries the number of those suppressed before it.
func TestBoundedCounts(t *testing.T) {
	t.Parallel()
	b := newRateLimit(2, time.Minute)
	for i, want := range []bool{true, true, false, false, false} {
		if more, ok := b.allow(time.Hour + time.Duration(i)*time.Second); ok != want || more != "" {
			t.Errorf("%d: %q %v", i, more, ok)
		}
	}
	if more, ok := b.allow(time.Hour + 2*time.Minute); !ok || more != " (and 3 more since the last mark)" {
		t.Errorf("%q %v", more, ok)
	}
	if more, ok := b.allow(time.Hour + 10*time.Minute); !ok || more != "" {
		t.Errorf("%q %v", more, ok)
	}
}

// A fault that a board reports is marked in the board's words, once until the channel has a value
// again. If a channel fails repeatedly, only the first faults are marked.
func TestFaultIsMarked(t *testing.T) {
	t.Parallel()
	const value, stuck = "ch=1 shunt=1F40 bus=2570", "ch=1 fault=the bus is stuck"
	for _, c := range []struct {
		name, said string
		marks      []string
	}{
		{"a value", value, nil},
		{"a fault of both quantities", value + "\n" + stuck, []string{"channel 1: the board says: the bus is stuck"}},
		{"at the start, and repeated", stuck + "\n" + stuck + "\n" + value + "\n" + value, []string{"channel 1: the board says: the bus is stuck"}},
		{"two", stuck + "\n" + value + "\nch=1 fault=it was reset", []string{"channel 1: the board says: the bus is stuck", "channel 1: the board says: it was reset"}},
		{"of a channel without a place", "ch=7 fault=no answer", nil},
		{"again and again", strings.Repeat(stuck+"\n"+value+"\n", 100), slices.Repeat([]string{"channel 1: the board says: the bus is stuck"}, faultBurst)},
	} {
		probe := strings.Replace(probeOn("board", "nowhere"), "plain-lines", "ina226-registers", 1)
		probe = strings.Replace(probe, `id = "2"`, `id = "1"`, 1)
		r := New(plan(t, hall+probe), Options{Clock: machine.NewClock(&setClocks{started: time.Now()}, time.Time{}, nil)})
		p := newDevice(r, r.plan.Run.Probes[0], r.plan.Profiles[0], nil)
		p.use(wire(r.plan.Run, 0))
		for i, line := range strings.Split(strings.TrimSpace(c.said), "\n") {
			samples, err := lines.Parse(p.profile.Line, line)
			if err != nil {
				t.Fatal(err)
			}
			p.take(time.Unix(0, int64(time.Hour)+int64(i)*1e8), samples)
		}
		var marks []string
		for _, m := range r.queue.marks {
			if m.Kind == Faulty && m.Probe == "board" {
				marks = append(marks, m.Text)
			}
		}
		if !slices.Equal(marks, c.marks) {
			t.Errorf("%s: marked %q, want %q", c.name, marks, c.marks)
		}
	}
}
