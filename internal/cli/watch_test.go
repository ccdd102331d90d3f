package cli

import (
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/simulate/devices"
	"ohmkeep/internal/watch/watchtest"
)

// board is what the shelf's run file says of a board on a port.
func board(name, port string) string {
	return fmt.Sprintf(`[[probe]]
name = %q
profile = "plain-lines"
port = %q
  [[probe.channel]]
  id = "1"
  quantity = "voltage"
  from = "left.start+"
  to = "left.start-"
  [[probe.channel]]
  id = "2"
  quantity = "current"
  from = "near"
`, name, port)
}

// watching is a watch that runs beside the test.
type watching struct {
	session
	addr   string
	cancel context.CancelFunc
	ended  chan int
	out    *watchtest.Log
}

// freeAddress returns an address that no program listens on.
func (s session) freeAddress() string {
	s.Helper()
	free, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		s.Fatal(err)
	}
	defer free.Close()
	return free.Addr().String()
}

// watch starts a watch and waits until it is ready.
func (s session) watch(flags ...string) *watching {
	s.Helper()
	w := s.watchUnready(flags...)
	w.until("ready", func() bool { status, _ := w.ask("GET", "/healthz", ""); return status == 200 })
	return w
}

// watchUnready starts a watch.
func (s session) watchUnready(flags ...string) *watching {
	s.Helper()
	addr := s.freeAddress()
	ctx, cancel := context.WithCancel(s.Context())
	w := &watching{session: s, addr: addr, cancel: cancel, ended: make(chan int, 1), out: &watchtest.Log{}}
	args := append([]string{"watch", s.path("shelf.toml"), "--store", s.path("shelf.db"), "--listen", addr}, flags...)
	go func() { w.ended <- Run(ctx, args, strings.NewReader(""), w.out, w.out) }()
	s.Cleanup(func() { w.cancel(); <-w.ended })
	return w
}

// until waits for something to come true.
func (w *watching) until(what string, true func() bool) {
	w.Helper()
	for begun := time.Now(); !true(); time.Sleep(5 * time.Millisecond) {
		if time.Since(begun) > time.Minute {
			w.Fatalf("never: %s\n%s", what, w.out)
		}
	}
}

func (w *watching) ask(method, path, body string) (int, string) {
	w.Helper()
	request, err := http.NewRequest(method, "http://"+w.addr+path, strings.NewReader(body))
	if err != nil {
		w.Fatal(err)
	}
	answer, err := http.DefaultClient.Do(request)
	if err != nil {
		return 0, err.Error()
	}
	defer answer.Body.Close()
	text, _ := io.ReadAll(answer.Body)
	return answer.StatusCode, string(text)
}

// shows waits until the metrics hold a line.
func (w *watching) shows(line string) {
	w.Helper()
	w.until(line, func() bool { _, text := w.ask("GET", "/metrics", ""); return strings.Contains(text, "\n"+line+"\n") })
}

// ends stops the watch as SIGTERM does and wants it to end well and soon: within ten times what it may need, because other
// tests run beside this one.
func (w *watching) ends() {
	w.Helper()
	begun := time.Now()
	w.cancel()
	status := <-w.ended
	w.ended <- status
	if took := time.Since(begun); status != Passes || took > 20*time.Second {
		w.Errorf("ended with %d after %v\n%s", status, took, w.out)
	}
}

func (s session) terminal() *devices.Pair {
	s.Helper()
	pair, err := devices.NewTerminal()
	if err != nil {
		s.Skip("no pseudo-terminals here: ", err)
	}
	s.Cleanup(func() { _ = pair.Device.Close() })
	return pair
}

func (s session) say(pair *devices.Pair, text string) {
	s.Helper()
	if _, err := io.WriteString(pair.Device, text); err != nil {
		s.Fatal(err)
	}
}

// A day in the cabinet: readings, steps, nonsense, a new run file, the end.
func TestWatch(t *testing.T) {
	s := newParallelSession(t)
	pair := s.terminal()
	s.write("shelf.toml", shelf+board("cabinet", pair.Path))
	w := s.watch("--commit", "200ms")
	s.say(pair, "# cabinet\n1,4.812,V\n2,2310,mA\nnonsense\n9,1,V\n1,5,A\n1,1e400,V\n\xff\n")
	w.shows(`ohmkeep_readings_total{probe="cabinet",run="Book shelf"} 2`)
	w.shows(`ohmkeep_bad_lines_total{probe="cabinet",run="Book shelf"} 5`)
	w.shows(`ohmkeep_voltage_volts{from="left.start+",run="Book shelf",to="left.start-"} 4.812`)
	w.shows(`ohmkeep_current_amperes{feed="near",run="Book shelf"} 2.31`)
	w.shows(`ohmkeep_probe_up{probe="cabinet",run="Book shelf"} 1`)
	if status, text := w.ask("POST", "/step", "white 6 %"); status != 400 || !strings.Contains(text, `did you mean "white 5 %"?`) {
		t.Errorf("an unknown step: %d %s", status, text)
	}
	s.say(pair, "1,4.8") // the line ends within the step
	if status, text := w.ask("POST", "/step", "white 5 %"); status != 204 {
		t.Errorf("a step: %d %s", status, text)
	}
	s.say(pair, "13,V\r\n")
	w.shows(`ohmkeep_readings_total{probe="cabinet",run="Book shelf"} 3`)
	if status, text := w.ask("POST", "/step", ""); status != 204 {
		t.Errorf("no step: %d %s", status, text)
	}
	s.do(`ohmkeep status --store shelf.db`).exits(Passes).prints("The watch is well.", "The run has not been analysed yet.", "4.813 V", "5 bad lines", "near", "free")
	o := s.do(`ohmkeep status --at `+w.addr+` --json`).exits(Passes).prints(`"well":true`, `"bad_lines":5`)
	if !regexp.MustCompile(`"last_good_age_seconds":[0-9.]+,"value":4.813,`).MatchString(o.out) {
		t.Errorf("no age of the last value in\n%s", o.out)
	}
	if _, text := w.ask("GET", "/", ""); !strings.Contains(text, "The watch is well.") || !strings.Contains(text, ">4.813 V<") {
		t.Errorf("the page:\n%s", text)
	}
	s.do(`ohmkeep watch shelf.toml --store shelf.db --listen 127.0.0.1:0`).refused("the store is kept by ohmkeep watch shelf.toml (process ")
	s.say(pair, "2,-0.50,A\n")
	w.until("the last line has arrived", func() bool { _, text := w.ask("GET", "/status", ""); return strings.Contains(text, `"value":-0.5,`) })
	w.ends()
	s.do(`ohmkeep status --store shelf.db`).exits(Fails).prints("no watch runs")
	s.do(`ohmkeep status --store shelf.db --json`).exits(Fails).prints(`"well":false`)
	out := s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).out
	var rows []string
	for _, line := range strings.Split(strings.TrimSpace(out), "\n") {
		_, rest, _ := strings.Cut(line, ",")
		rows = append(rows, rest)
	}
	want := []string{"step,quantity,from,to,value,unit,meter",
		",voltage,left.start+,left.start-,4.812,V,plain-lines", ",current,near,,2310,mA,plain-lines",
		"white 5 %,voltage,left.start+,left.start-,4.813,V,plain-lines", ",current,near,,-0.50,A,plain-lines"}
	if strings.Join(rows, "\n") != strings.Join(want, "\n") {
		t.Errorf("exported\n%s\nnot\n%s", strings.Join(rows, "\n"), strings.Join(want, "\n"))
	}
	// What was recorded is read by everything that reads readings.
	s.write("back.csv", out)
	s.do(`ohmkeep import shelf.toml back.csv --store again.db`).exits(Passes).prints("4 readings stored")
	if n := strings.Count(w.out.String(), "\n"); n > 6 {
		t.Errorf("%d lines of log:\n%s", n, w.out)
	}
}

func TestWatchRefuses(t *testing.T) {
	s := newSession(t)
	s.write("shelf.toml", shelf)
	s.do(`ohmkeep watch shelf.toml`).refused("wants --store FILE")
	s.do(`ohmkeep watch shelf.toml --store shelf.db --commit 0s`).refused("--commit 0s is not more than nothing")
	s.do(`ohmkeep watch shelf.toml --store shelf.db`).refused("no probe has a channel with its place in the run")
	s.write("shelf.toml", strings.Replace(shelf, `[[meter]]`, board("cabinet", "/dev/absent")+`[[meter]]`, 1))
	s.do(`ohmkeep watch shelf.toml --store shelf.db --listen nowhere`).refused("listen")
}

// A board that is not there: status and health say so; a channel that was never
// heard is unproven.
func TestStatus(t *testing.T) {
	s := newSession(t)
	s.do(`ohmkeep status`).refused("wants --store FILE or --at ADDR")
	s.do(`ohmkeep status --at 127.0.0.1:1`).refused("the watch at 127.0.0.1:1 does not answer: nothing listens there (is it running, and is that what its --listen says?)\n")
	s.do(`ohmkeep status --at no-such-machine.invalid:9477`).refused("the watch at no-such-machine.invalid:9477 does not answer: ")
	s.do(`ohmkeep status --at nowhere:x`).refused("this is not an address")
	s.do(`ohmkeep status --store absent.db`).exits(Fails).prints("no watch runs")
	pair := s.terminal()
	s.write("shelf.toml", shelf+board("cabinet", pair.Path))
	w := s.watch("--commit", "50ms")
	s.do(`ohmkeep status --store shelf.db`).exits(Unproven).prints("The watch is well.", "no good reading yet")
	if err := pair.Device.Close(); err != nil {
		t.Fatal(err)
	}
	w.shows(`ohmkeep_probe_up{probe="cabinet",run="Book shelf"} 0`)
	s.do(`ohmkeep status --store shelf.db`).exits(Fails).prints("The watch is not well:\n  probe cabinet: ")
	if status, text := w.ask("GET", "/healthz", ""); status != 503 || !strings.HasPrefix(text, "The watch is not well:\n  probe cabinet: ") {
		t.Errorf("%d %s", status, text)
	}
}

// While the watch's own analysis finds a bad joint, the status says so first and fails,
// before the first analysis after a start too.
func TestStatusOfFailingRun(t *testing.T) {
	s := newParallelSession(t)
	s.board(70, 0.030, 40, 1e9)
	s.do("ohmkeep import gallery.toml months.csv --store shelf.db").exits(Passes)
	pair := s.terminal()
	s.write("shelf.toml", s.content("gallery.toml")+`[[probe]]
name = "cabinet"
profile = "plain-lines"
port = "`+pair.Path+`"
  [[probe.channel]]
  id = "2"
  quantity = "current"
  from = "near"
`)
	w := s.watch("--commit", "50ms", "--analyse-after", "10ms")
	s.say(pair, "2,2310,mA\n")
	w.shows(`ohmkeep_run_failing{run="Gallery"} 1`)
	w.shows(`ohmkeep_readings_total{probe="cabinet",run="Gallery"} 1`)
	failing := func(w *watching) {
		t.Helper()
		o := s.do(`ohmkeep status --store shelf.db`).exits(Fails).prints("The run fails: 1 of ", "\n  joint west-north: ", "stepped", "\nThe watch is well.")
		if strings.Index(o.out, "The run fails") > strings.Index(o.out, "The watch is well") {
			t.Errorf("the worse stands last:\n%s", o.out)
		}
		s.do(`ohmkeep status --store shelf.db --json`).exits(Fails).prints(`"well":true`, `"run_health":{"state":"failing"`)
		if status, text := w.ask("GET", "/healthz", ""); status != 200 || !strings.HasPrefix(text, "The run fails") {
			t.Errorf("%d %s", status, text)
		}
		if _, text := w.ask("GET", "/metrics", ""); !strings.Contains(text, "\nohmkeep_resistance_limit_ohms{kind=\"joint\",name=\"west-north\",rail=\"loop\",run=\"Gallery\"} 0.01") {
			t.Errorf("%s", text)
		}
	}
	failing(w)
	w.ends()
	failing(s.watch("--commit", "50ms", "--analyse-after", "1h"))
}

// An address at which no watch can listen, and times without a unit, are refused in one line
// that says what would be right.
func TestWatchCallFaults(t *testing.T) {
	s := newSession(t)
	s.write("shelf.toml", shelf+board("cabinet", "simulated"))
	s.write("token", "a-token-of-this-test\n")
	s.write("empty", "\n")
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	s.do("ohmkeep watch shelf.toml --store shelf.db --simulated --listen 0.0.0.0:0").exits(Wrong)
	if _, err := os.Stat("shelf.db"); err == nil {
		t.Error("a store was made")
	}
	at := taken.Addr().String()
	for flags, want := range map[string]string{
		"--listen " + at:                        " (choose a free port and an address of this machine; ohmkeep status --at " + at + " says",
		"--listen localhost":                    `--listen: "localhost": missing port in address (host:port, such as 127.0.0.1:9477)`,
		"--listen 127.0.0.1:99999":              `invalid port (host:port, such as 127.0.0.1:9477)`,
		"--commit 10":                           `invalid argument "10" for "--commit" flag: a number and its unit, such as 10s, 5m or 1h (see ohmkeep watch --help)`,
		"--listen 0.0.0.0:0":                    "--listen: 0.0.0.0:0 can be reached from other machines, and nothing says who may enter (--token-file FILE",
		"--listen :0 --open --token-file token": "--open: and --token-file exclude each other",
		"--listen :0 --token-file none":         "none: no such file",
		"--token-file empty":                    "empty: holds no token (one line with the token; ohmkeep token FILE makes such a file)",
		"--tls-cert token":                      "--tls-cert and --tls-key belong together",
		"--tls-cert token --tls-key token":      "token: is no certificate of the key in token: cannot find any PEM data",
		"--no-token-for metrics":                "--no-token-for says nothing without --token-file",
		"--no-token-for x --token-file token":   `--no-token-for "x" is neither metrics nor healthz`,
		"--keep 1d":                             `invalid argument "1d" for "--keep" flag: less than 30d would leave nothing to look back on (see`,
	} {
		s.do("ohmkeep watch shelf.toml --store shelf.db --simulated " + flags).refused(want)
	}
}
