package recorder

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"ohmkeep/internal/instrument"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/simulate/devices"
	"ohmkeep/internal/watch/machine"
	"ohmkeep/internal/watch/watchtest"
)

func TestMain(m *testing.M) {
	if err := flag.Set("test.parallel", "8"); err != nil { // tests that run beside others mostly wait
		panic(err)
	}
	os.Exit(m.Run())
}

var hall = runtest.Hall + `
[[step]]
name = "dark"
[[step]]
name = "white"
red = 0.05
`

// probeOn returns the part of a run file for a plain board on a port.
func probeOn(name, port string) string {
	return fmt.Sprintf("[[probe]]\nname = %q\nprofile = \"plain-lines\"\nport = %q\n"+
		"[[probe.channel]]\nid = \"1\"\nquantity = \"voltage\"\nfrom = \"west.start+\"\nto = \"west.start-\"\n"+
		"[[probe.channel]]\nid = \"2\"\nquantity = \"current\"\nfrom = \"near\"\n", name, port)
}

func plan(t testing.TB, text string) Plan {
	t.Helper()
	r := runtest.Parse(t, text)
	p := Plan{Run: r}
	for i := range r.Probes {
		device, err := profile.Load(r.Probes[i].Profile, "")
		if err != nil {
			t.Fatal(err)
		}
		p.Profiles = append(p.Profiles, device)
		if r.Probes[i].Meter < 0 {
			r.Meters = append(r.Meters, device.Meter)
			r.Probes[i].Meter = len(r.Meters) - 1
		}
	}
	return p
}

// setClocks are the clocks of a machine; the test sets its wall clock.
type setClocks struct {
	mu      sync.Mutex
	started time.Time
	ahead   time.Duration // time since boot that the test lets pass
	set     time.Duration // how far off the wall clock is set
}

func (m *setClocks) SinceBoot() time.Duration {
	m.mu.Lock()
	defer m.mu.Unlock()
	return time.Since(m.started) + m.ahead + time.Hour
}

func (m *setClocks) Wall() time.Time {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.started.Round(0).Add(time.Since(m.started) + m.ahead + m.set)
}
func (m *setClocks) Boot() string       { return "boot" }
func (m *setClocks) Synchronised() bool { return false }
func (m *setClocks) Battery() bool      { return true }

func (m *setClocks) turn(by time.Duration) { m.mu.Lock(); m.set += by; m.mu.Unlock() }
func (m *setClocks) pass(by time.Duration) { m.mu.Lock(); m.ahead += by; m.mu.Unlock() }

// shelf is a store in memory that can be full.
type shelf struct {
	mu       sync.Mutex
	readings []reading.Recorded
	marks    []Mark
	commits  int
	fault    error
	poison   string // a text that is refused
	flaky    bool   // every fifth commit fails
	asked    int
}

func (s *shelf) Keep(_ context.Context, b Batch) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.asked++
	if s.flaky && s.asked%5 == 0 {
		return errFull
	}
	if s.fault != nil {
		return s.fault
	}
	for _, x := range b.Readings {
		if s.poison != "" && x.Text == s.poison {
			return fmt.Errorf("%s: %w", x.Text, ErrRefused)
		}
	}
	s.readings, s.marks, s.commits = append(s.readings, b.Readings...), append(s.marks, b.Marks...), s.commits+1
	return nil
}

func (s *shelf) texts() []string {
	s.mu.Lock()
	defer s.mu.Unlock()
	var all []string
	for _, x := range s.readings {
		if (x.Quality &^ reading.Unsettled).Measured() {
			all = append(all, x.Text)
		}
	}
	return all
}

func (s *shelf) fill(err error) { s.mu.Lock(); s.fault = err; s.mu.Unlock() }

// kinds returns the kinds of the marks as text.
func (s *shelf) kinds() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	var all []string
	for _, m := range s.marks {
		all = append(all, string(m.Kind))
	}
	return strings.Join(all, " ")
}

var errFull = errors.New("the disk is full")

// cabinet is a recorder that runs beside the test.
type cabinet struct {
	*Recorder
	t       testing.TB
	machine *setClocks
	shelf   *shelf
	clock   *machine.Clock
	log     *watchtest.Log
	cancel  context.CancelFunc
	ended   chan struct{}
}

// open starts a recorder and waits until every probe was tried.
func open(t testing.TB, p Plan, o Options) *cabinet {
	t.Helper()
	c := &cabinet{t: t, machine: &setClocks{started: time.Now()}, shelf: &shelf{}, log: &watchtest.Log{}, ended: make(chan struct{})}
	c.clock = machine.NewClock(c.machine, time.Time{}, nil)
	if o.Store == nil {
		o.Store = c.shelf
	}
	if o.Commit == 0 {
		o.Commit = 50 * time.Millisecond
	}
	o.Clock, o.Log = c.clock, slog.New(slog.NewTextHandler(c.log, nil))
	c.Recorder = New(p, o)
	c.checkInterval = 20 * time.Millisecond
	ctx, cancel := context.WithCancel(context.Background())
	c.cancel = cancel
	go func() { c.Run(ctx); close(c.ended) }()
	t.Cleanup(c.end)
	<-c.Tried()
	return c
}

// simulated starts a recorder on a board inside the process; in a bubble of synctest its time is simulated.
func simulated(t testing.TB, o Options) (*cabinet, *devices.Pair) {
	t.Helper()
	pair := devices.InProcess()
	o.Open = func(ctx context.Context, _ run.Probe, p *profile.Profile, o instrument.Options) (instrument.Instrument, error) {
		o.Conn = pair.Host
		return instrument.Open(ctx, p, "", o)
	}
	return open(t, plan(t, hall+probeOn("board", "nowhere")), o), pair
}

// pass advances the clock while the recorder runs.
func (c *cabinet) pass(by time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.machine.pass(by)
	if c.lastRun > 0 {
		c.lastRun += by
	}
}

func (c *cabinet) end() { c.cancel(); <-c.ended }

// until waits until a condition holds.
func (c *cabinet) until(what string, true func() bool) {
	c.t.Helper()
	for begun := time.Now(); !true(); time.Sleep(2 * time.Millisecond) {
		if time.Since(begun) > time.Minute {
			c.t.Fatalf("never: %s\n%+v\n%s", what, c.Snapshot(), c.log)
		}
	}
}

func (c *cabinet) stored(n int) {
	c.t.Helper()
	c.until(fmt.Sprintf("%d stored", n), func() bool { return len(c.shelf.texts()) >= n })
}

// socket is a path at which devices appear and disappear, like those of /dev/serial/by-id.
type socket struct {
	t    testing.TB
	path string
}

func newSocket(t testing.TB) socket { return socket{t, filepath.Join(t.TempDir(), "by-id-board")} }

// plug connects a board, each time under another name of the system.
func (s socket) plug() *devices.Pair {
	s.t.Helper()
	pair, err := devices.NewTerminal()
	if err != nil {
		s.t.Skip("no pseudo-terminals here: ", err)
	}
	s.t.Cleanup(func() { _ = pair.Device.Close() })
	next := s.path + ".next"
	if err := os.Symlink(pair.Path, next); err != nil {
		s.t.Fatal(err)
	}
	if err := os.Rename(next, s.path); err != nil {
		s.t.Fatal(err)
	}
	return pair
}

// unplug removes the board and its name.
func (s socket) unplug(pair *devices.Pair) {
	s.t.Helper()
	if err := errors.Join(os.Remove(s.path), pair.Device.Close()); err != nil {
		s.t.Fatal(err)
	}
}

func say(t testing.TB, pair *devices.Pair, text string) {
	t.Helper()
	if _, err := io.WriteString(pair.Device, text); err != nil {
		t.Fatal(err)
	}
}
