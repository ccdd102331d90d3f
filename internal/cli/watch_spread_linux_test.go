package cli

import (
	"context"
	"flag"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/devices"
	"ohmkeep/internal/store"
	"ohmkeep/internal/watch/watchtest"
)

var (
	spreadFor    = flag.Duration("spread", 0, "for how long the cost of the watch is measured whose channels are spread over boards; 0: not")
	spreadBoards = flag.Int("boards", 4, "over how many boards its 16 channels are spread: 1, 2, 4, 8 or 16")
	spreadDays   = flag.Int("days", 0, "how many days of 16 channels at 1 Hz its store holds before")
)

// What the watch costs with 16 channels at 10 Hz: plain lines over
// pseudo-terminals, each written by itself with a pause of 1 ms behind it as a
// wire has it, a commit every 10 s, metrics scraped every 15 s. Processor and
// memory are what the kernel says of the program once it has settled. Every line
// must be there afterwards.
func TestWatchSpread(t *testing.T) {
	if *spreadFor == 0 {
		t.Skip("takes its time: -spread 5s")
	}
	s := newSession(t)
	s.write("hall.toml", wideHall(s, *spreadBoards))
	s.remembers(*spreadDays)
	free, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	addr := free.Addr().String()
	free.Close()
	pairs := make([]*devices.Pair, *spreadBoards)
	for i := range pairs {
		pairs[i] = s.terminal()
		if err := os.Symlink(pairs[i].Path, fmt.Sprint("board", i)); err != nil {
			t.Fatal(err)
		}
	}
	args := []string{"watch", "hall.toml", "--store", "hall.db", "--listen", addr}
	program := measured(args...)
	log := &watchtest.Log{}
	program.Stderr = log
	if err := program.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() { _ = program.Process.Kill() }() // it has ended already if all is well
	w := &watching{session: s, addr: addr, out: log}
	w.until("ready", func() bool { status, _ := w.ask("GET", "/healthz", ""); return status == 200 })

	speaking, stop := context.WithCancel(t.Context())
	defer stop()
	said := make(chan int)
	for i, pair := range pairs {
		go func() { said <- s.speak(speaking, pair, i, 16 / *spreadBoards) }()
	}
	go func() {
		for beat := time.Tick(15 * time.Second); ; {
			select {
			case <-beat:
				_, _ = w.ask("GET", "/metrics", "")
			case <-speaking.Done():
				return
			}
		}
	}()
	time.Sleep(min(*spreadFor/4, 15*time.Second)) // for what the start itself costs
	before, begun := usedBy(t, program.Process.Pid), time.Now()
	time.Sleep(*spreadFor)
	used, took := usedBy(t, program.Process.Pid)-before, time.Since(begun)
	now, peak := heldBy(t, program.Process.Pid)
	stop()
	lines := 0
	for range pairs {
		lines += <-said
	}
	w.until("all heard", func() bool { // by the metrics, which tell of what is stored and what waits
		_, text := w.ask("GET", "/metrics", "")
		return sumOf(text, "ohmkeep_readings_total")+sumOf(text, "ohmkeep_queue_readings") >= lines
	})
	if err := program.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	if err := program.Wait(); err != nil {
		t.Fatalf("%v\n%s", err, log)
	}
	if n := s.keeps(beginning); n != lines {
		t.Errorf("%d lines said, %d stored\n%s", lines, n, log)
	}
	t.Logf("%d boards, %d lines in %v: %.2f %% of one processor, %.0f µs a line; %.1f MB resident, %.1f MB at most", *spreadBoards, lines,
		took.Round(time.Second), 100*used.Seconds()/took.Seconds(), used.Seconds()*1e6/(160*took.Seconds()), float64(now)/1e6, float64(peak)/1e6)
}

// wideHall is an invented run with so many boards, whose ports are symbolic links.
func wideHall(s session, boards int) string {
	text := shelf
	dir, err := filepath.Abs(".")
	if err != nil {
		s.Fatal(err)
	}
	for i := range 16 {
		if each := 16 / boards; i%each == 0 {
			text += fmt.Sprintf("[[probe]]\nname = \"board %d\"\nprofile = \"plain-lines\"\nport = %q\n", i/each, filepath.Join(dir, fmt.Sprint("board", i/each)))
		}
		text += fmt.Sprintf("[[probe.channel]]\nid = \"%d\"\nquantity = \"voltage\"\nfrom = \"left.%d+\"\nto = \"left.%d-\"\n", i, 1+10*i, 1+10*i)
	}
	return text
}

// speak lets a board say its channels ten times a second and gives how many lines it has said.
func (s session) speak(ctx context.Context, pair *devices.Pair, board, channels int) (lines int) {
	beat := time.NewTicker(100 * time.Millisecond)
	defer beat.Stop()
	for {
		for i := range channels {
			if _, err := fmt.Fprintf(pair.Device, "%d,%.4f,V\n", board*channels+i, 4.8+float64(lines%50)/1000); err != nil {
				s.Error(err)
				return lines
			}
			lines++
			time.Sleep(time.Millisecond)
		}
		select {
		case <-beat.C:
		case <-ctx.Done():
			return lines
		}
	}
}

// beginning is a date before all that the watch itself stores.
var beginning = time.Date(2026, time.June, 1, 0, 0, 0, 0, time.UTC)

// keeps gives how many readings the store has since a date.
func (s session) keeps(since time.Time) (n int) {
	kept, err := store.OpenReadOnly("hall.db")
	if err != nil {
		s.Fatal(err)
	}
	defer kept.Close()
	for _, err := range kept.Readings(s.Context(), "Book shelf", store.Filter{Since: since}) {
		if err != nil {
			s.Fatal(err)
		}
		n++
	}
	return n
}

// remembers fills the store with days of 16 channels at 1 Hz, up to that date.
func (s session) remembers(days int) {
	if days == 0 {
		return
	}
	kept, err := store.Open("hall.db")
	if err != nil {
		s.Fatal(err)
	}
	defer kept.Close()
	w, err := kept.Writer(s.Context(), store.Owner{Name: "a test"})
	if err != nil {
		s.Fatal(err)
	}
	defer w.Close()
	var channels [16]store.Handle
	for i := range channels {
		if channels[i], err = w.Channel(store.Channel{Run: "Book shelf", Probe: fmt.Sprint("board ", i/(16 / *spreadBoards)), Quantity: run.Voltage,
			From: fmt.Sprintf("left.%d+", 1+10*i), To: fmt.Sprintf("left.%d-", 1+10*i), Unit: "V", Meter: "plain-lines"}); err != nil {
			s.Fatal(err)
		}
	}
	s.keepsOn(w, channels[:], beginning.AddDate(0, 0, -days), beginning, time.Second)
}

// keepsOn stores all channels again and again from a date to another.
func (s session) keepsOn(w *store.Writer, channels []store.Handle, at, end time.Time, every time.Duration) {
	var samples []store.Sample
	for ; at.Before(end); at = at.Add(every) {
		for i, c := range channels {
			samples = append(samples, store.Sample{Channel: c, Time: at, Count: 48000 + (at.UnixMilli()*2654435761>>7+int64(i))%800, Form: store.Form{Decimals: 4}})
		}
		if len(samples) >= 1<<16 {
			if err := w.Append(s.Context(), samples); err != nil {
				s.Fatal(err)
			}
			samples = samples[:0]
		}
	}
	if err := w.Append(s.Context(), samples); err != nil {
		s.Fatal(err)
	}
}

// usedBy gives how long a process has had a processor, all of its threads and in
// all modes (proc(5): utime and stime in stat).
func usedBy(t *testing.T, pid int) time.Duration {
	text := procOf(t, pid, "stat")
	fields := strings.Fields(text[strings.LastIndexByte(text, ')')+1:])
	ticks := 0
	for _, at := range []int{14, 15} { // as proc(5) counts them
		n, err := strconv.Atoi(fields[at-3])
		if err != nil {
			t.Fatal(err)
		}
		ticks += n
	}
	return time.Duration(ticks) * time.Second / 100 // USER_HZ, on every architecture that we build for
}

// heldBy gives the bytes of memory that a process holds, and the most it ever held
// (proc(5): VmRSS and VmHWM in status, in KiB).
func heldBy(t *testing.T, pid int) (now, peak int64) {
	for _, line := range strings.Split(procOf(t, pid, "status"), "\n") {
		name, rest, _ := strings.Cut(line, ":")
		for to, wanted := range map[*int64]string{&now: "VmRSS", &peak: "VmHWM"} {
			if name == wanted {
				kib, err := strconv.ParseInt(strings.Fields(rest)[0], 10, 64)
				if err != nil {
					t.Fatal(err)
				}
				*to = kib << 10
			}
		}
	}
	return now, peak
}

func procOf(t *testing.T, pid int, file string) string {
	t.Helper()
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/%s", pid, file))
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// sumOf adds up a metric over its labels.
func sumOf(text, metric string) (sum int) {
	for _, line := range strings.Split(text, "\n") {
		if strings.HasPrefix(line, metric+"{") {
			value, _ := strconv.ParseFloat(line[strings.LastIndexByte(line, ' ')+1:], 64) // the program writes numbers
			sum += int(value)
		}
	}
	return sum
}
