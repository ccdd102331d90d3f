package recorder

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/watch/machine"
)

// Lines that waited while the program was stopped for two minutes are dated by the board's regular
// interval, if their number agrees with the length of the stall. Otherwise their dates are
// uncertain. Both are marked.
func TestLinesThatWaited(t *testing.T) {
	t.Parallel()
	const stopped = 2 * time.Minute
	for _, c := range []struct {
		name     string
		interval func(i int) time.Duration
		scan     int  // lines that come together
		lost     int  // of the lines that came meanwhile
		checked  bool // the stall is noticed before a line is read
		certain  bool
	}{
		{"one line a second", every(time.Second), 1, 0, false, true},
		{"one line a second, noticed by the regular check", every(time.Second), 1, 0, true, true},
		{"two lines ten times a second", every(100 * time.Millisecond), 2, 0, false, true},
		{"one line in twenty seconds", every(20 * time.Second), 1, 0, false, true},
		{"the buffer was full", every(time.Second), 1, 60, false, false},
		{"irregular", func(i int) time.Duration { return time.Duration(1+i*7919%13) * 300 * time.Millisecond }, 1, 0, false, false},
		{"as many as were lost", every(100 * time.Millisecond), 2, 1000, true, false},
	} {
		m := &setClocks{started: time.Now()}
		r := New(plan(t, hall+probeOn("board", "nowhere")), Options{Clock: machine.NewClock(m, time.Time{}, nil)})
		p := newDevice(r, r.plan.Run.Probes[0], r.plan.Profiles[0], nil)
		p.use(wire(r.plan.Run, 0))
		var sent []time.Duration // when each reading was sent, since boot
		say := func(read, at time.Duration) {
			for i := range c.scan {
				q := []run.Quantity{run.Voltage, run.Current}[i]
				one := reading.Sample{Channel: fmt.Sprint(i + 1), Reading: reading.Reading{Quantity: q, Unit: reading.Unit(q), Text: "1", Value: 1}}
				p.take(time.Unix(0, int64(read)+int64(i)*int64(20*time.Microsecond)), []reading.Sample{one})
				sent = append(sent, at)
			}
		}
		at := time.Hour
		next := func(i int) time.Duration { at += c.interval(i); return at }
		runs := func(until time.Duration) { // the recorder, checked once a second
			for now := r.lastRun; now < until; now += time.Second {
				r.noteRunning(now)
			}
		}
		r.noteRunning(at)
		for i := range 100 {
			runs(next(i))
			say(at, at)
		}
		runs(at)
		from := at
		to := from + stopped
		var waiting []time.Duration
		for i := 100; ; i++ {
			if next(i) > to {
				break
			}
			waiting = append(waiting, at)
		}
		if c.checked {
			r.noteRunning(to)
		}
		waiting = waiting[:len(waiting)-c.lost]
		before := len(sent)
		for i, w := range waiting {
			say(to+time.Duration(i)*100*time.Microsecond, w)
		}
		late := len(sent) - before
		for i := range 20 { // on time again
			runs(at)
			say(at, at)
			next(i)
		}
		entries := []entry{}
		for _, b := range r.queue.blocks {
			entries = append(entries, b.entries...)
		}
		if len(entries) != len(sent) {
			t.Fatalf("%s: %d of %d are queued", c.name, len(entries), len(sent))
		}
		worst := time.Duration(0)
		for i, e := range entries {
			isLate := i >= before && i < before+late
			if uncertain := e.quality&reading.ClockUncertain != 0; uncertain != (isLate && !c.certain) {
				t.Fatalf("%s: reading %d of %d is uncertain: %v", c.name, i, len(entries), uncertain)
			} else if !uncertain {
				worst = max(worst, (e.sinceBoot - sent[i]).Abs())
			}
		}
		if limit := 3 * c.interval(0) / 2; worst > limit && c.certain {
			t.Errorf("%s: dated up to %v wrong", c.name, worst)
		}
		marks := ""
		for _, m := range r.queue.marks {
			marks += string(m.Kind) + " " + m.Probe + ": " + m.Text + "\n"
		}
		how := map[bool]string{true: "are dated by the board's regular interval", false: "are dated when they were read, at most 2m0s late"}[c.certain]
		if !strings.Contains(marks, "stalled : the watch did not run for 2m0s") || !strings.Contains(marks, how) {
			t.Errorf("%s: marked\n%s", c.name, marks)
		}
	}
}

func every(d time.Duration) func(int) time.Duration {
	return func(int) time.Duration { return d }
}
