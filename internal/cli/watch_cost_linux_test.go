package cli

import (
	"flag"
	"fmt"
	"os"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"ohmkeep/internal/simulate/devices"
	"ohmkeep/internal/watch/watchtest"
)

var costSeconds = flag.Float64("cost", 0.3, "for how many seconds the watch's processor time and memory are measured")

// What a watch costs in a cabinet: two boards with eight channels each, ten times a
// second, the usual commits, and a client that scrapes the metrics every 15 s. The
// kernel's own figures are printed, not judged; `-cost 120` leaves out what the start costs.
func TestWatchCost(t *testing.T) {
	s := newParallelSession(t)
	text := shelf
	var pairs []*devices.Pair
	for i := range 2 {
		pair := s.terminal()
		pairs = append(pairs, pair)
		text += fmt.Sprintf("[[probe]]\nname = \"board %d\"\nprofile = \"plain-lines\"\nport = %q\n", i, pair.Path)
		for k := range 8 {
			text += fmt.Sprintf("  [[probe.channel]]\n  id = \"%d\"\n  quantity = \"voltage\"\n  from = \"left.%d+\"\n  to = \"left.%d-\"\n", k, 8*i+k+1, 8*i+k+1)
		}
	}
	s.write("shelf.toml", text)
	w := &watching{session: s, addr: s.freeAddress(), out: &watchtest.Log{}}
	program := process("watch", s.path("shelf.toml"), "--store", s.path("shelf.db"), "--listen", w.addr)
	program.Stderr = w.out
	if err := program.Start(); err != nil {
		t.Fatal(err)
	}
	w.until("ready", func() bool { status, _ := w.ask("GET", "/healthz", ""); return status == 200 })
	speak := func(seconds float64) {
		for i := range int(10 * seconds) {
			begun := time.Now()
			for _, pair := range pairs {
				var lines strings.Builder
				for k := range 8 {
					fmt.Fprintf(&lines, "%d,4.%04d,V\n", k, 8000+(i*7+k*13)%50)
				}
				s.say(pair, lines.String())
			}
			if i%150 == 149 {
				w.ask("GET", "/metrics", "")
			}
			time.Sleep(time.Until(begun.Add(100 * time.Millisecond)))
		}
	}
	speak(min(*costSeconds, 15))
	before, begun := processorOf(t, program.Process.Pid), time.Now()
	speak(*costSeconds)
	used, took := processorOf(t, program.Process.Pid)-before, time.Since(begun)
	status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", program.Process.Pid))
	if err != nil {
		t.Fatal(err)
	}
	_, memory, _ := strings.Cut(string(status), "VmRSS:")
	memory, _, _ = strings.Cut(memory, "\n")
	t.Logf("16 channels at 10 Hz for %.0f s: %.2f %% of a core, resident %s", took.Seconds(), 100*used.Seconds()/took.Seconds(), strings.Join(strings.Fields(memory), " "))
	if err := program.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	if err := program.Wait(); err != nil {
		t.Fatalf("%v\n%s", err, w.out)
	}
	if n := strings.Count(s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).out, "\n") - 1; n < int(160**costSeconds) {
		t.Errorf("%d readings are stored", n)
	}
}

// processorOf gives the processor time of a process (proc(5), stat: utime and stime in
// ticks of 10 ms).
func processorOf(t *testing.T, pid int) time.Duration {
	t.Helper()
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		t.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(text), ") ")
	fields := strings.Fields(rest)
	user, _ := strconv.Atoi(fields[11])
	system, _ := strconv.Atoi(fields[12])
	return time.Duration(user+system) * 10 * time.Millisecond
}
