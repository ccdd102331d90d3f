package probes_test

import (
	"flag"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/store"
	"ohmkeep/internal/watch/watchtest"
)

var avrMinutes = flag.Float64("avr", 0, "minutes for which the board's program runs in a simulated microcontroller; 0 = not at all")

// avrRun is an invented run with a sensor at each feed.
func avrRun(port string) string {
	return runtest.Strip("Two feeds") + runtest.Reels(4, "west") +
		runtest.Feed("west.start", "1.5 mm2") + runtest.FeedFrom("far", "A", "west.end", 2.5, "1.5 mm2") +
		fmt.Sprintf("[[probe]]\nname = \"board\"\nprofile = \"ina226-registers\"\nport = %q\n", port) +
		avrChannels("1", "near", "west.start") + avrChannels("2", "far", "west.end")
}

func avrChannels(id, feed, end string) string {
	return fmt.Sprintf(`  [[probe.channel]]
  id = %q
  quantity = "current"
  from = %q
  [[probe.channel]]
  id = %[1]q
  quantity = "voltage"
  from = "%[3]s+"
  to = "%[3]s-"
`, id, feed, end)
}

// avrWatch is a watch that runs beside the test.
type avrWatch struct {
	*testing.T
	addr string
	log  *watchtest.Log
	end  func() int
}

func startWatch(t *testing.T, program, file string) *avrWatch {
	t.Helper()
	free, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer free.Close()
	w := &avrWatch{T: t, addr: free.Addr().String(), log: &watchtest.Log{}}
	free.Close()
	watch := exec.CommandContext(t.Context(), program, "watch", file, "--store", "board.db", "--commit", "1s", "--listen", w.addr)
	watch.Stdout, watch.Stderr = w.log, w.log
	if err := watch.Start(); err != nil {
		t.Fatal(err)
	}
	w.end = func() int {
		_ = watch.Process.Signal(os.Interrupt) // one that is gone shows in its status
		_ = watch.Wait()
		return watch.ProcessState.ExitCode()
	}
	w.until("the board's port is open", func() bool { return w.metric("ohmkeep_probe_up") == 1 })
	return w
}

// until waits until a condition holds.
func (w *avrWatch) until(what string, holds func() bool) {
	w.Helper()
	for begun := time.Now(); !holds(); time.Sleep(50 * time.Millisecond) {
		if time.Since(begun) > 30*time.Second {
			w.Fatalf("never: %s\n%s", what, w.log)
		}
	}
}

func (w *avrWatch) get(path string) string {
	answer, err := http.Get("http://" + w.addr + path)
	if err != nil {
		return ""
	}
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	if err != nil {
		return ""
	}
	return string(text)
}

// restarts returns how many restarts of the board the watch has counted.
func (w *avrWatch) restarts() (n int) {
	if found := regexp.MustCompile(`"restarts":(\d+)`).FindStringSubmatch(w.get("/status")); found != nil {
		n, _ = strconv.Atoi(found[1]) // digits, by the pattern
	}
	return n
}

// metric returns the sum of a metric over its labels, of those that contain all of some texts.
func (w *avrWatch) metric(name string, labels ...string) float64 {
	sum := 0.0
	for _, found := range regexp.MustCompile(`(?m)^`+name+`\{(.*)\} (\S+)$`).FindAllStringSubmatch(w.get("/metrics"), -1) {
		if v, err := strconv.ParseFloat(found[2], 64); err == nil && !slices.ContainsFunc(labels, func(l string) bool { return !strings.Contains(found[1], l) }) {
			sum += v
		}
	}
	return sum
}

// The board's program, built for an ATmega328P, runs in simavr, Debian's simulator of that
// processor, with two INA226 on its bus. The real watch reads its serial port at full rate.
// Meanwhile there are a brown-out in the middle of a line, a bus that a chip holds at several
// moments and for a second, and a program that hangs. Each conversion that the board could read is
// in the store once; restarts and faults are marked.
func TestFirmwareInAVR(t *testing.T) {
	if *avrMinutes == 0 {
		t.Skip("the board's program is run in a simulated processor with -avr MINUTES")
	}
	b := buildBoard(t)
	program := filepath.Join(t.TempDir(), "ohmkeep")
	if out, err := exec.Command("go", "build", "-o", program, "../cmd/ohmkeep").CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	t.Chdir(t.TempDir())
	if err := os.WriteFile("run.toml", []byte(avrRun(b.port)), 0o644); err != nil {
		t.Fatal(err)
	}
	w := startWatch(t, program, "run.toml")
	part := int(*avrMinutes * 60 / 5) // s
	unusable := func(channel string) float64 {
		return w.metric("ohmkeep_unusable_values_total", `channel="`+channel+`"`)
	}

	b.say("run")
	b.pass(part)
	if unusable("1")+unusable("2") > 0 || w.metric("ohmkeep_bad_lines_total") > 0 {
		t.Error("a line was bad, or a value unusable, before anything happened")
	}
	// 24 characters are a line without its flags, which the profile's pattern would take.
	b.say("brown-out 50 24")
	w.until("a bad line", func() bool { return w.metric("ohmkeep_bad_lines_total") == 1 })
	b.pass(part)
	for _, when := range []string{"now", "start", "read"} {
		before := unusable("1") + unusable("2")
		b.say("hold 9 " + when)
		w.until("a fault by a bus held "+when, func() bool { return unusable("1")+unusable("2") > before })
		b.pass(1) // a fault before the next conversion would be the same one
	}
	b.pass(part)
	one, two := unusable("1"), unusable("2")
	b.say("hold 0 now")
	w.until("the fault of both channels", func() bool { return unusable("1") > one && unusable("2") > two })
	b.pass(1)
	b.say("release")
	b.pass(part)
	restarts := w.restarts()
	b.say("hang")
	w.until("another restart", func() bool { return w.restarts() > restarts })
	b.pass(part)
	record := b.end()
	if record.lost > 0 {
		t.Fatalf("the terminal was full: %d bytes of the board are lost", record.lost)
	}

	stored := func() float64 { return w.metric("ohmkeep_readings_total") }
	for last := -1.0; stored() != last; time.Sleep(1500 * time.Millisecond) {
		last = stored()
	}
	counted := stored()
	if w.metric("ohmkeep_bad_lines_total") > 2 {
		t.Errorf("more bad lines than resets: %s", w.get("/status"))
	}
	// On a busy machine the board's minute between two greetings varies, which looks like restarts.
	if n := w.restarts(); n != 2 && record.late < 0.1*record.seconds {
		t.Errorf("%d restarts are counted", n)
	}
	if code := w.end(); code != 0 {
		t.Errorf("the watch ended with %d\n%s", code, w.log)
	}
	b.close()
	kept, err := store.OpenReadOnly("board.db")
	if err != nil {
		t.Fatal(err)
	}
	defer kept.Close()
	got := map[string][]uint16{}
	total := 0
	for x, err := range kept.Readings(t.Context(), "Two feeds", store.Filter{}) {
		if err != nil {
			t.Fatal(err)
		}
		total++
		key := "41"
		if x.From == "near" || x.From == "west.start+" {
			key = "40"
		}
		if x.Quantity == run.Current {
			key += " shunt"
		} else {
			key += " bus"
		}
		got[key] = append(got[key], uint16(x.Counts.N))
	}
	if float64(total) != counted {
		t.Errorf("%d readings in the store, %v in the metric", total, counted)
	}
	record.compare(t, got)

	marks, err := kept.Marks(t.Context(), "Two feeds", time.Time{}, time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	marked := func(kind, text string) bool {
		return slices.ContainsFunc(marks, func(m store.Mark) bool {
			return m.Kind == kind && m.Subject == "board" && strings.Contains(m.Text, text)
		})
	}
	if !marked(store.MarkRestart, "reset: brown-out") {
		t.Errorf("no mark of the brown-out in %v", marks)
	}
	if !marked("fault", "the bus is stuck") {
		t.Errorf("no mark of the stuck bus in %v", marks)
	}
	if b.flash > 4300 || b.static+record.stack > 450 {
		t.Errorf("the program takes %d bytes of flash and %d of RAM; its README says 4.2 kB and 0.4 kB", b.flash, b.static+record.stack)
	}
	t.Logf("%.0f s of the board's time, %.0f s late: %d conversions, %d readings stored; flash %d bytes, RAM %d bytes of which stack %d",
		record.seconds, record.late, len(record.conversions), total, b.flash, b.static+record.stack, record.stack)
}
