package cli

import (
	"encoding/csv"
	"flag"
	"fmt"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"ohmkeep/internal/watch/watchtest"
)

var stalled = flag.Duration("stall", 0, "how long the watch is stopped while a board sends; `10s` in .ci/run, and 0 leaves the test to package recorder")

// mostOff is how far a date may be off that follows from an interval of 100 ms: an interval
// and a half, 2 % of ten seconds, and as much for a sender that is late itself.
const mostOff = 500 * time.Millisecond

// A watch that is stopped (SIGSTOP) while a board sends ten lines a second dates those that
// waited as they were sent, and loses none.
func TestWatchStalled(t *testing.T) {
	if *stalled == 0 {
		t.Skip("takes its time: -stall 10s (TestLinesThatWaited of package recorder dates the same lines without a process)")
	}
	s := newSession(t)
	pair := s.terminal()
	s.write("shelf.toml", shelf+board("cabinet", pair.Path))
	w := &watching{session: s, addr: s.freeAddress(), out: &watchtest.Log{}}
	program := process("watch", "shelf.toml", "--store", "shelf.db", "--commit", "50ms", "--listen", w.addr)
	program.Stderr = w.out
	if err := program.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() { _ = program.Process.Kill() }() // it has ended already if all is well
	w.until("ready", func() bool { status, _ := w.ask("GET", "/healthz", ""); return status == 200 })
	var sent []time.Time
	say := func(d time.Duration) {
		for end := time.Now().Add(d); time.Now().Before(end); time.Sleep(time.Until(sent[len(sent)-1].Add(100 * time.Millisecond))) {
			sent = append(sent, time.Now())
			s.say(pair, fmt.Sprintf("1,%d.5,V\n", len(sent)))
		}
	}
	signal := func(is syscall.Signal) {
		if err := program.Process.Signal(is); err != nil {
			t.Fatal(err)
		}
	}
	say(2 * time.Second)
	signal(syscall.SIGSTOP)
	say(*stalled)
	signal(syscall.SIGCONT)
	say(time.Second)
	w.shows(fmt.Sprintf(`ohmkeep_readings_total{probe="cabinet",run="Book shelf"} %d`, len(sent)))
	signal(syscall.SIGTERM)
	if err := program.Wait(); err != nil {
		t.Fatalf("%v\n%s", err, w.out)
	}
	rows, err := csv.NewReader(strings.NewReader(s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).out)).ReadAll()
	if err != nil || len(rows) != len(sent)+1 {
		t.Fatalf("%d lines sent, %d rows, %v", len(sent), len(rows)-1, err)
	}
	a := tally{tried: len(sent)}
	worst := time.Duration(0)
	for i, row := range rows[1:] {
		at, err := time.Parse(time.RFC3339Nano, row[0])
		if n, _ := strconv.Atoi(strings.TrimSuffix(row[5], ".5")); err != nil || n != i+1 {
			t.Fatalf("row %d is %v, %v", i+1, row, err)
		}
		off := at.Sub(sent[i]).Abs()
		if worst = max(worst, off); off > mostOff {
			a.misplaced++
		}
	}
	a.print(t, fmt.Sprintf("readings with the watch stopped for %v", *stalled))
	t.Logf("stopped for %v: %d readings, dated at most %v off", *stalled, len(sent), worst.Round(time.Millisecond))
	s.do(`ohmkeep note shelf.toml --store shelf.db`).exits(Passes).prints("watch stalled", "the watch did not run for", "lines that waited meanwhile are dated by the board's regular interval")
}
