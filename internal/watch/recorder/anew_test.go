package recorder

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/watch/clock"
)

// A board that says who it is about once a minute does not begin anew; one that says
// so out of its beat, or is another, does, and is marked once in a while.
func TestBeginsAnew(t *testing.T) {
	t.Parallel()
	const a, b = "# serial 0001, INA226", "# serial 0002, INA226"
	for _, c := range []struct {
		name   string
		mute   bool // it gave no values before
		said   string
		anew   uint64
		marked int
	}{
		{"at its start only", false, "0 " + a, 0, 0},
		{"before any value", true, "0 " + a + "\n3 " + a, 0, 0},
		{"every minute", false, "0 " + a + "\n60 " + a + "\n120 " + a + "\n181 " + a, 0, 0},
		{"first heard within the beat", false, "50 " + a + "\n110 " + a, 0, 0},
		{"first heard after long", false, "400 " + a, 1, 1},
		{"again after hours", false, "0 " + a + "\n7200 " + a, 1, 1},
		{"at once", false, "0 " + a + "\n3 " + a, 1, 1},
		{"out of its beat", false, "0 " + a + "\n60 " + a + "\n95 " + a, 1, 1},
		{"for ever", false, "0 " + a + strings.Repeat("\n+2 "+a, 100), 100, 1},
		{"for ever, and later", false, "0 " + a + strings.Repeat("\n+20 "+a, 100), 100, 4}, // 2000 s in tens of minutes
		{"another board", false, "0 " + a + "\n60 " + b, 1, 1},
		{"another remark", false, "0 " + a + "\n3 # 1: no answer\n5 # 1: no answer", 0, 0},
	} {
		m := &machine{started: time.Now()}
		r := New(plan(t, hall+probeOn("board", "nowhere")), Options{Clock: clock.New(m, time.Time{}, nil)})
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
			if m.Kind == Anew && m.Probe == "board" && strings.HasPrefix(m.Text, "# serial") {
				marked++
			}
		}
		if p.totals.anew != c.anew || marked != c.marked {
			t.Errorf("%s: %d times anew, want %d; %d marks, want %d", c.name, p.totals.anew, c.anew, marked, c.marked)
		}
	}
}
