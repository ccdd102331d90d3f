package service

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math"
	"net"
	"net/http"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"ohmkeep/internal/instrument"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/watch/recorder"
	"ohmkeep/internal/watch/watchtest"
)

// hall is an invented run with a board.
var hall = runtest.Hall + `
[[step]]
name = "white 5 %"
red = 0.05
[[probe]]
name = "board"
profile = "plain-lines"
port = "none"
[[probe.channel]]
id = "1"
quantity = "current"
from = "near"
`

func plan(t *testing.T, text string) recorder.Plan {
	t.Helper()
	r := runtest.Parse(t, text)
	device, err := profile.Load("plain-lines", "")
	if err != nil {
		t.Fatal(err)
	}
	r.Meters = append(r.Meters, device.Meter)
	r.Probes[0].Meter = len(r.Meters) - 1
	return recorder.Plan{Run: r, Profiles: []*profile.Profile{device}}
}

// nothing is a store that accepts everything and keeps nothing.
type nothing struct{}

func (nothing) Keep(context.Context, recorder.Batch) error { return nil }

// quiet is a board that sends nothing until it is closed.
type quiet struct {
	instrument.Instrument
	gone chan struct{}
}

func (q quiet) Identity() string { return "# a quiet board" }
func (q quiet) Close() error     { return nil }
func (q quiet) Next(ctx context.Context) (reading.Sample, error) {
	select {
	case <-q.gone:
		return reading.Sample{}, errors.New("it is <gone>")
	case <-ctx.Done():
		return reading.Sample{}, ctx.Err()
	}
}

// house is a daemon that runs beside the test.
type house struct {
	t      *testing.T
	addr   string
	gone   chan struct{}
	reload chan struct{}
	next   chan recorder.Plan // what the next Load gives; closed: it fails
	log    *watchtest.Log
	cancel context.CancelFunc
	ended  chan error
}

func start(t *testing.T, change func(*Config)) *house {
	t.Helper()
	h := &house{t: t, gone: make(chan struct{}), reload: make(chan struct{}), next: make(chan recorder.Plan, 1),
		log: &watchtest.Log{}, ended: make(chan error, 1)}
	ready := make(chan string, 1)
	opened := 0
	c := Config{Plan: plan(t, hall), Store: nothing{}, Listen: "127.0.0.1:0", Commit: time.Second,
		Log: slog.New(slog.NewTextHandler(h.log, nil)), Reload: h.reload, Ready: func(addr string) { ready <- addr },
		Open: func(context.Context, run.Probe, *profile.Profile, instrument.Options) (instrument.Instrument, error) {
			if opened++; opened > 1 {
				return nil, errors.New("it is <away>")
			}
			return quiet{gone: h.gone}, nil
		},
		Load: func() (recorder.Plan, error) {
			if p, ok := <-h.next; ok {
				return p, nil
			}
			return recorder.Plan{}, errors.New("hall.toml:3: strip: is not <known>")
		},
	}
	if change != nil {
		change(&c)
	}
	ctx, cancel := context.WithCancel(t.Context())
	h.cancel = cancel
	go func() { h.ended <- Run(ctx, c) }()
	t.Cleanup(func() {
		cancel()
		if err := <-h.ended; err != nil {
			t.Error(err)
		}
	})
	select {
	case h.addr = <-ready:
	case <-time.After(time.Minute):
		t.Fatal("never ready")
	}
	return h
}

func (h *house) ask(method, path, kind, body string) (int, string) {
	h.t.Helper()
	request, err := http.NewRequest(method, "http://"+h.addr+path, strings.NewReader(body))
	if err != nil {
		h.t.Fatal(err)
	}
	if kind != "" {
		request.Header.Set("Content-Type", kind)
	}
	answer, err := http.DefaultClient.Do(request)
	if err != nil {
		h.t.Fatal(err)
	}
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	if err != nil {
		h.t.Fatal(err)
	}
	return answer.StatusCode, string(text)
}

func (h *house) until(what string, true func() bool) {
	h.t.Helper()
	for begun := time.Now(); !true(); time.Sleep(2 * time.Millisecond) {
		if time.Since(begun) > time.Minute {
			h.t.Fatalf("never: %s\n%s", what, h.log)
		}
	}
}

// Health is 200 while all is well, and 503 with the reasons when a board is gone.
func TestHealth(t *testing.T) {
	h := start(t, nil)
	if code, text := h.ask("GET", "/healthz", "", ""); code != 200 || text != "The watch is well.\n  probe board, channel 1: no good current reading yet\nThe run has not been analysed yet.\n" {
		t.Errorf("%d %q", code, text)
	}
	close(h.gone)
	h.until("unwell", func() bool { code, _ := h.ask("GET", "/healthz", "", ""); return code == 503 })
	h.until("away", func() bool {
		_, text := h.ask("GET", "/healthz", "", "")
		return text == "The watch is not well:\n  probe board: it is <away>\nThe run has not been analysed yet.\n"
	})
	for _, path := range []string{"/", "/nothing", "/step"} {
		if code, _ := h.ask("GET", path, "", ""); code != 404 && code != 405 {
			t.Errorf("GET %s: %d", path, code)
		}
	}
}

// Supplies whose plus rails meet are a note of the status and a line of the log, for any
// current.
func TestSuppliesThatMeetAreNoted(t *testing.T) {
	const meet = "the plus rails of supplies A and B meet"
	h := start(t, func(c *Config) {
		c.Plan = plan(t, strings.Replace(hall, "[[step]]", `[[supply]]
name = "B"
volts = 5.1
amps = 20
[[feed]]
name = "far"
from = "B"
to = "west.end"
milliohms = 20
[[step]]`, 1))
	})
	if _, text := h.ask("GET", "/status", "", ""); !strings.Contains(text, meet) {
		t.Errorf("status: %s", text)
	}
	if !strings.Contains(h.log.String(), meet) {
		t.Errorf("log: %s", h.log)
	}
	one := start(t, nil)
	if _, text := one.ask("GET", "/status", "", ""); strings.Contains(text, "rails") {
		t.Errorf("one supply: %s", text)
	}
}

// The state of the run stands beside that of the watch, the worse first. A failing run
// leaves the watch well, and /healthz 200.
func TestRunFails(t *testing.T) {
	bad := &history.History{Last: time.Unix(1_800_000_000, 0), Series: []history.Series{
		{Kind: run.KindJoint, Name: "west-north", Ohms: 0.039, Low: 0.037, High: 0.041, Limit: 0.015, Verdict: history.Drifting},
		{Kind: run.KindFeed, Name: "near", Ohms: 0.1, Low: 0.09, High: 0.11, Limit: 0.2, Verdict: history.Steady}}}
	h := start(t, func(c *Config) { c.History = bad })
	const run = "The run fails: 1 of 2 followed elements is over its limit or changing.\n  joint west-north: 39.0 mΩ, limit 15.0 mΩ, over its limit, drifting\n"
	code, text := h.ask("GET", "/healthz", "", "")
	if code != 200 || !strings.HasPrefix(text, run+"The watch is well.\n") {
		t.Errorf("%d %s", code, text)
	}
	s, _, err := Client{}.Ask(t.Context(), h.addr)
	if err != nil || s.Verdict() != Bad || !s.Well || s.Health.State != "failing" || len(s.Health.Failing) != 1 {
		t.Errorf("%+v, %v", s, err)
	}
	if _, text := h.ask("GET", "/metrics", "", ""); !strings.Contains(text, "\nohmkeep_run_failing{run=\"Hall\"} 1\n") {
		t.Errorf("%s", text)
	}
	// A watch that is not well is the worse of the two only beside a run that does not fail.
	close(h.gone)
	h.until("unwell", func() bool { code, _ := h.ask("GET", "/healthz", "", ""); return code == 503 })
	if _, text := h.ask("GET", "/healthz", "", ""); !strings.HasPrefix(text, run+"The watch is not well:\n") {
		t.Errorf("%s", text)
	}
}

// What the newest analysis found decides the state of the run.
func TestHealthOf(t *testing.T) {
	steady := history.Series{Kind: run.KindFeed, Name: "near", Ohms: 0.1, Low: 0.09, High: 0.11, Limit: math.NaN(), Verdict: history.Steady}
	blind := history.Series{Kind: run.KindJoint, Name: "a-b", Ohms: math.NaN(), High: math.Inf(1), Limit: 0.015, Verdict: history.Unproven, Why: "no known step was seen"}
	for _, c := range []struct {
		series  []history.Series
		state   string
		verdict Verdict
	}{
		{nil, "unknown", Good},
		{[]history.Series{steady}, "sound", Good},
		{[]history.Series{steady, blind}, "unproven", Unproven},
	} {
		got := healthOf(&history.History{Last: time.Unix(1_800_000_000, 0), Series: c.series})
		if got.State != c.state || got.Verdict() != c.verdict {
			t.Errorf("%v: %+v", c.series, got)
		}
	}
	if got := healthOf(&history.History{Series: []history.Series{blind}}); got.Unproven[0] != "joint a-b: no known step was seen" {
		t.Errorf("%q", got.Unproven)
	}
	if got := healthOf(nil); got.part().Text != "The run has not been analysed yet." {
		t.Errorf("%+v", got)
	}
}

// A step can be announced in each form that a controller or a person at a shell would use.
func TestStep(t *testing.T) {
	t.Parallel()
	h := start(t, nil)
	for _, c := range []struct {
		path, kind, body string
		code             int
		step             string
	}{
		{"/step", "text/plain", "white 5 %", 204, "white 5 %"},
		{"/step", "", "", 204, ""},
		{"/step", "application/x-www-form-urlencoded", "white 5 %", 204, "white 5 %"}, // curl --data
		{"/step", "text/plain", "\n", 204, ""},
		{"/step", "application/x-www-form-urlencoded", "step=white+5+%25&settle=0.5", 204, "white 5 %"},
		{"/step", "application/json", `{"step": ""}`, 204, ""},
		{"/step", "application/json", `{"step": "white 5 %", "settle": 1}`, 204, "white 5 %"},
		{"/step?step=", "", "", 204, ""},
		{"/step?step=white+5+%25&settle=2", "", "", 204, "white 5 %"},
		{"/step", "text/plain", "white", 400, "white 5 %"},
		{"/step", "application/json", `{"stp": ""}`, 400, "white 5 %"},
		{"/step", "application/json", `{"step": "white 5 %", "settle": -1}`, 400, "white 5 %"},
		{"/step?settle=x", "text/plain", "white 5 %", 400, "white 5 %"},
		{"/step?settle=NaN", "text/plain", "white 5 %", 400, "white 5 %"},
		{"/step", "text/plain", strings.Repeat("x", 5000), 413, "white 5 %"},
		{"/step", "text/plain", strings.Repeat("x", 5<<20), 413, "white 5 %"},
	} {
		code, text := h.ask("POST", c.path, c.kind, c.body)
		if code != c.code {
			t.Errorf("%s %s %.40q: %d %s", c.path, c.kind, c.body, code, text)
		}
		_, text = h.ask("GET", "/status", "", "")
		if want := fmt.Sprintf(`"step":%q`, c.step); !strings.Contains(text, want) {
			t.Errorf("%s %.40q: no %s in %s", c.path, c.body, want, text)
		}
	}
}

// A page of another site, opened in the browser of a user who can reach the watch, cannot announce
// a step.
func TestStrangersPage(t *testing.T) {
	h := start(t, nil)
	request, err := http.NewRequest("POST", "http://"+h.addr+"/step", strings.NewReader("white 5 %"))
	if err != nil {
		t.Fatal(err)
	}
	request.Header.Set("Sec-Fetch-Site", "cross-site")
	answer, err := http.DefaultClient.Do(request)
	if err != nil {
		t.Fatal(err)
	}
	answer.Body.Close()
	if answer.StatusCode != http.StatusForbidden {
		t.Errorf("%d", answer.StatusCode)
	}
}

// A bad run file is refused with its fault, and the old one stays in force. A good one replaces it
// without closing a probe.
func TestReload(t *testing.T) {
	h := start(t, nil)
	h.next <- plan(t, strings.Replace(hall, `"Hall"`, `"Stairs"`, 1))
	h.reload <- struct{}{}
	h.until("the new run", func() bool {
		_, text := h.ask("GET", "/status", "", "")
		return strings.Contains(text, `"run":"Stairs"`)
	})
	close(h.next)
	h.reload <- struct{}{}
	h.until("refused", func() bool {
		s, _, err := Client{}.Ask(t.Context(), h.addr)
		return err == nil && slices.Contains(s.Notes, "the newest run file is refused: hall.toml:3: strip: is not <known>")
	})
	if code, text := h.ask("GET", "/status", "", ""); code != 200 || !strings.Contains(text, `"run":"Stairs"`) || !strings.Contains(text, `"well":true`) {
		t.Errorf("%d %s", code, text)
	}
	if got := h.log.String(); strings.Count(got, "probe opened") != 1 || !strings.Contains(got, "the old one stays in force") {
		t.Errorf("log:\n%s", got)
	}
}

// adrift is a machine whose wall clock the test sets.
type adrift struct {
	started time.Time
	off     atomic.Int64
}

func (a *adrift) Wall() time.Time          { return time.Now().Add(time.Duration(a.off.Load())) }
func (a *adrift) SinceBoot() time.Duration { return time.Since(a.started) }
func (a *adrift) Boot() string             { return "boot" }
func (a *adrift) Synchronised() bool       { return false }
func (a *adrift) Battery() bool            { return true }

// book is a store that keeps the marks.
type book struct {
	mu    sync.Mutex
	marks []recorder.Mark
}

func (b *book) Keep(_ context.Context, batch recorder.Batch) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.marks = append(b.marks, batch.Marks...)
	return nil
}

// A wall clock that is set back is marked, logged and noted in the status. The watch stays well.
func TestClockIsSet(t *testing.T) {
	t.Parallel()
	machine, kept := &adrift{started: time.Now()}, &book{}
	h := start(t, func(c *Config) { c.Machine, c.Store = machine, kept })
	machine.off.Store(int64(-365 * 24 * time.Hour))
	h.until("the status says so", func() bool {
		_, text := h.ask("GET", "/status", "", "")
		return strings.Contains(text, "the dates of readings are uncertain") && strings.Contains(text, `"well":true`)
	})
	h.until("marked", func() bool {
		kept.mu.Lock()
		defer kept.mu.Unlock()
		for _, m := range kept.marks {
			if m.Kind == recorder.Clock && m.Stamp.Uncertain && strings.Contains(m.Text, "was set by -8760h") {
				return true
			}
		}
		return false
	})
	if !strings.Contains(h.log.String(), "certain=false") {
		t.Errorf("log:\n%s", h.log)
	}
}

// The service manager is notified of readiness, of life, of a reload and of the end.
func TestServiceManager(t *testing.T) {
	path := filepath.Join(t.TempDir(), "notify")
	socket, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	if err != nil {
		t.Skip("no sockets of this kind here: ", err)
	}
	defer socket.Close()
	t.Setenv("NOTIFY_SOCKET", path)
	t.Setenv("WATCHDOG_USEC", "40000")
	h := start(t, nil)
	heard := map[string]int{}
	listen := func(until string) {
		t.Helper()
		buffer := make([]byte, 512)
		_ = socket.SetReadDeadline(time.Now().Add(time.Minute))
		for heard[until] == 0 {
			n, err := socket.Read(buffer)
			if err != nil {
				t.Fatalf("never heard %s, but %v", until, heard)
			}
			for _, line := range strings.Split(string(buffer[:n]), "\n") {
				key, _, _ := strings.Cut(line, "=")
				heard[key]++
			}
		}
	}
	listen("READY")
	listen("WATCHDOG")
	if heard["STATUS"] != 1 || heard["RELOADING"] != 0 {
		t.Errorf("heard %v", heard)
	}
	h.next <- plan(t, hall)
	delete(heard, "READY")
	h.reload <- struct{}{}
	listen("MONOTONIC_USEC")
	listen("READY")
	if heard["RELOADING"] != 1 {
		t.Errorf("heard %v", heard)
	}
	h.cancel()
	listen("STOPPING")
}

// The newest analysis is shown. If one fails the one before stays.
func TestAnalysis(t *testing.T) {
	h := func(names ...string) *history.History {
		one := &history.History{}
		for _, name := range names {
			one.Series = append(one.Series, history.Series{Kind: run.KindFeed, Name: name})
		}
		return one
	}
	d := &Daemon{config: Config{Log: slog.New(slog.DiscardHandler), Analyse: func(context.Context, recorder.Plan) (*history.History, error) {
		return nil, errors.New("too little")
	}}}
	d.history.Store(h("near"))
	p := plan(t, hall)
	d.plan.Store(&p)
	d.runAnalysis(t.Context())
	if got := d.history.Load().Series; len(got) != 1 {
		t.Errorf("got %v", got)
	}
	d.config.Analyse = func(_ context.Context, p recorder.Plan) (*history.History, error) { return h(p.Run.Name, ""), nil }
	d.runAnalysis(t.Context())
	if got := d.history.Load().Series; len(got) != 2 || got[0].Name != "Hall" {
		t.Errorf("got %v", got)
	}
}

func TestUntilNight(t *testing.T) {
	zone := time.FixedZone("", 3600)
	for at, want := range map[string]time.Duration{"00:00": 4 * time.Hour, "03:59": time.Minute, "04:00": 24 * time.Hour, "23:00": 5 * time.Hour} {
		clock, err := time.ParseInLocation("2006-01-02 15:04", "2026-03-01 "+at, zone)
		if err != nil {
			t.Fatal(err)
		}
		if got := untilNight(clock); got != want {
			t.Errorf("at %s: %v, want %v", at, got, want)
		}
	}
}

// An address that another program uses is an error at once.
func TestAddressTaken(t *testing.T) {
	h := start(t, nil)
	err := Run(t.Context(), Config{Plan: plan(t, hall), Store: nothing{}, Listen: h.addr, Log: slog.New(slog.NewTextHandler(io.Discard, nil))})
	if err == nil || !strings.Contains(err.Error(), "address already in use") {
		t.Errorf("got %v", err)
	}
}
