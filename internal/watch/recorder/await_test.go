package recorder

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/instrument"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/watch/machine"
)

// awaiting is a probe whose lines are awaited by their sender.
type awaiting struct {
	*Recorder
	p      *device
	shelf  *shelf
	lines  int
	result map[int]string // of each line: kept or lost
}

func newAwaiting(t *testing.T, o Options) *awaiting {
	t.Helper()
	a := &awaiting{shelf: &shelf{}, result: map[int]string{}}
	o.Store, o.Clock, o.Commit = a.shelf, machine.NewClock(&setClocks{started: time.Now()}, time.Time{}, nil), time.Hour
	a.Recorder = New(plan(t, hall+probeOn("board", "nowhere")), o)
	a.commit.anyStored = true // else the first commit comes soon
	a.p = newDevice(a.Recorder, a.plan.Run.Probes[0], a.plan.Profiles[0], nil)
	a.p.use(wire(a.plan.Run, 0))
	return a
}

// line receives a line of two values, or one that cannot be read.
func (a *awaiting) line(kind instrument.EventKind, channels ...string) {
	a.lines++
	n := a.lines
	e := instrument.Event{Kind: kind, Time: a.p.now(), Done: func(kept bool) { a.result[n] += map[bool]string{true: "kept", false: "lost"}[kept] }}
	for i, c := range channels {
		q := []run.Quantity{run.Voltage, run.Current}[i]
		e.Samples = append(e.Samples, reading.Sample{Channel: c, Reading: reading.Reading{Quantity: q, Unit: reading.Unit(q), Text: fmt.Sprint(n), Value: float64(n)}})
	}
	a.p.receive(e)
}

func (a *awaiting) commitOnce(t *testing.T) bool {
	var held Batch
	a.fill(&held)
	return a.tryCommit(t.Context(), &held)
}

// A sender learns that a line is kept after its readings are safe, at once for a line that is not
// wanted, and never before.
func TestAwaitedLines(t *testing.T) {
	a := newAwaiting(t, Options{})
	a.line(instrument.Values, "1", "2")
	a.line(instrument.Bad)
	a.line(instrument.Values, "7") // no channel of the run
	a.line(instrument.Skipped)
	if got := fmt.Sprint(a.result); got != "map[2:kept 3:kept 4:kept]" {
		t.Errorf("before a commit: %s", got)
	}
	a.shelf.fill(errFull)
	var held Batch
	a.fill(&held)
	if a.tryCommit(t.Context(), &held) || a.result[1] != "" {
		t.Errorf("with a full disk: %v", a.result)
	}
	a.line(instrument.Values, "1")
	a.shelf.fill(nil)
	if !a.tryCommit(t.Context(), &held) || a.result[1] != "kept" || a.result[5] != "" {
		t.Errorf("after the commit of the first: %v", a.result)
	}
	if !a.commitOnce(t) || a.result[5] != "kept" || strings.Join(a.shelf.texts(), " ") != "1 1 5" {
		t.Errorf("after the commit of the last: %v %v", a.result, a.shelf.texts())
	}
}

// Ten awaited lines are committed at once, before the interval ends; a broker may hold back more.
func TestAwaitedLinesHurry(t *testing.T) {
	a := newAwaiting(t, Options{})
	for range maxAwaited - 1 {
		a.line(instrument.Values, "1")
	}
	if d := a.timeToCommit(Batch{}, 0); d < 10*time.Minute {
		t.Errorf("nine lines are committed in %v", d)
	}
	a.line(instrument.Values, "1")
	if d := a.timeToCommit(Batch{}, 0); d != 0 {
		t.Errorf("ten lines are committed in %v", d)
	}
	a.commitOnce(t)
	if len(a.result) != maxAwaited || len(a.queue.awaited) != 0 {
		t.Errorf("%v", a.result)
	}
}

// A line that a full queue drops is reported as lost, so that its sender sends it again.
func TestAwaitedLinesAreDropped(t *testing.T) {
	a := newAwaiting(t, Options{QueueBytes: 1})
	for range blockSize + 1 {
		a.line(instrument.Values, "1", "2")
	}
	a.commitOnce(t)
	kept, lost := 0, 0
	for _, r := range a.result {
		switch r {
		case "kept":
			kept++
		case "lost":
			lost++
		default:
			t.Errorf("a line is %q", r)
		}
	}
	if stored := len(a.shelf.texts()); kept+lost != a.lines || lost == 0 || stored != 2*kept || uint64(2*a.lines-stored) != a.queue.dropped {
		t.Errorf("%d kept, %d lost of %d lines; %d stored, %d dropped", kept, lost, a.lines, stored, a.queue.dropped)
	}
}

// A date that the sample itself calls uncertain stays so when the clock is confirmed.
func TestLateDateStays(t *testing.T) {
	a := newAwaiting(t, Options{})
	a.p.receive(instrument.Event{Kind: instrument.Values, Time: a.p.now(), Samples: []reading.Sample{{Channel: "1",
		Reading: reading.Reading{Quantity: run.Voltage, Unit: "V", Text: "1", Value: 1, Quality: reading.ClockUncertain}}}})
	a.Redate()
	a.commitOnce(t)
	if len(a.shelf.readings) != 1 || a.shelf.readings[0].Quality != reading.ClockUncertain {
		t.Errorf("%+v", a.shelf.readings)
	}
}
