package archive

import (
	"cmp"
	"context"
	"flag"
	"fmt"
	"io"
	"iter"
	"log/slog"
	"math/rand/v2"
	"net"
	"net/url"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"ohmkeep/internal/central/centraltest"
	"ohmkeep/internal/central/postgres"
	"ohmkeep/internal/central/ship"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/store"
)

var cuts = flag.Int("cuts", 25, "how often a connection is cut")

// shelf is an invented run.
func shelf(t testing.TB, site string) *run.Run {
	r := runtest.Parse(t, runtest.Strip("Shelf")+runtest.Reels(1, "west", "north")+runtest.Feed("west.start", "16 AWG")+runtest.White("check", 0.2))
	r.Site = site
	return r
}

// filled returns a store with n moments of readings, a minute apart, as probes send them.
func filled(t testing.TB, r *run.Run, n int) *store.Store {
	t.Helper()
	return fill(t, filepath.Join(t.TempDir(), "shelf.db"), r, n)
}

// open opens a store until the end of the test.
func open(t testing.TB, path string) *store.Store {
	t.Helper()
	s, err := store.Open(path)
	check(t, err)
	t.Cleanup(func() { s.Close() })
	return s
}

func fill(t testing.TB, path string, r *run.Run, n int) *store.Store {
	t.Helper()
	s := open(t, path)
	w, err := s.Writer(t.Context(), store.Owner{Name: "a test", FoldAfter: 20})
	check(t, err)
	defer w.Close()
	volts, err := w.Channel(store.Channel{Run: r.Name, Probe: "board", Quantity: run.Voltage, From: "west.start+", To: "west.start-", Unit: "V", Meter: "hand"})
	check(t, err)
	amps, err := w.Channel(store.Channel{Run: r.Name, Probe: "board", Step: "check", Quantity: run.Current, From: "near", Unit: "A", Meter: "hand", Scale: "0.00125"})
	check(t, err)
	random := rand.New(rand.NewPCG(uint64(n), 3))
	at := time.Date(2026, 1, 31, 20, 0, 0, 0, time.FixedZone("", 3600)) // over the end of a month
	for range n {
		at = at.Add(time.Minute)
		text := fmt.Sprintf("+%.4fE+0", 4+random.Float64())
		if random.IntN(40) == 0 {
			text = "004.50" // has no form
		}
		check(t, w.Append(t.Context(), []store.Sample{{Channel: volts, Time: at, Text: text}, {Channel: amps, Time: at, Count: random.Int64N(1000)}},
			store.RunMark{Run: r.Name, Mark: store.Mark{Time: at, Kind: store.MarkGap, Subject: "board", Text: "it's a\ttab"}}))
	}
	return s
}

func check(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// same compares what the central database has of a run with its store: readings and marks.
func same(t *testing.T, s *store.Store, url string, r *run.Run) {
	t.Helper()
	db, err := postgres.Connect(t.Context(), url, postgres.Options{})
	check(t, err)
	defer db.Close()
	central, err := NewReader(t.Context(), db, SiteOf(r))
	check(t, err)
	got, want := readings(t, central, r), readings(t, s, r)
	if len(want) == 0 || !reflect.DeepEqual(got, want) {
		t.Errorf("the central database has %d readings, the store %d", len(got), len(want))
	}
	gotMarks, err := central.Marks(t.Context(), r.Name, time.Time{}, time.Time{})
	check(t, err)
	wantMarks, err := s.Marks(t.Context(), r.Name, time.Time{}, time.Time{})
	check(t, err)
	slices.SortStableFunc(wantMarks, func(a, b store.Mark) int {
		return cmp.Or(a.Time.Compare(b.Time), cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Subject, b.Subject), cmp.Compare(a.Text, b.Text))
	})
	if len(wantMarks) == 0 || !reflect.DeepEqual(gotMarks, wantMarks) {
		t.Errorf("the central database has %d marks, the store %d", len(gotMarks), len(wantMarks))
	}
}

// rows compares the number of rows in the table of readings with that of the store's, where none was changed.
func rows(t *testing.T, s *store.Store, server *centraltest.Server, r *run.Run) {
	t.Helper()
	out, err := server.SQL("owner", "ohmkeep", "SELECT count(*) FROM ohmkeep.reading")
	if want := fmt.Sprint(len(readings(t, s, r))); err != nil || strings.TrimSpace(out) != want {
		t.Errorf("%s rows in the table of readings, want %s", out, want)
	}
}

// readings returns the measured values of a run from its store or from the central database.
func readings(t testing.TB, from interface {
	Readings(context.Context, string, store.Filter) iter.Seq2[reading.Reading, error]
}, r *run.Run) (all []reading.Reading) {
	t.Helper()
	for x, err := range from.Readings(t.Context(), r.Name, store.Filter{}) {
		check(t, err)
		all = append(all, x)
	}
	return all
}

// Whatever moment a connection is cut in, towards the server or from it, every reading arrives once.
func TestCutConnections(t *testing.T) {
	server := centraltest.Start(t)
	url := server.Database("ohmkeep")
	r := shelf(t, "North hall")
	s := filled(t, r, 300)
	random := rand.New(rand.NewPCG(1, 2))
	to := NewSink(through(t, url, random), postgres.Options{}, r)
	to.batch = 15
	failures := 0
	for done := false; !done; {
		_, _, err := ship.Once(t.Context(), s, r.Name, to, nil)
		done = err == nil
		if !done {
			failures++
			_ = to.Close()
		}
		if failures > 3**cuts {
			t.Fatalf("%d failures: %v", failures, err)
		}
	}
	check(t, to.Close())
	if failures < *cuts/2 {
		t.Errorf("only %d connections were cut", failures)
	}
	t.Logf("%d connections were cut", failures)
	same(t, s, url, r)
	rows(t, s, server, r)
}

// through returns an address that leads to a server, over connections that are cut after a random
// number of bytes in one direction, until as many were cut as the flag says.
func through(t *testing.T, address string, random *rand.Rand) string {
	t.Helper()
	u, err := url.Parse(address)
	check(t, err)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	check(t, err)
	t.Cleanup(func() { l.Close() })
	server := u.Host
	go func() {
		for cut := 0; ; cut++ {
			from, err := l.Accept()
			if err != nil {
				return
			}
			to, err := net.Dial("tcp", server)
			if err != nil {
				from.Close()
				continue
			}
			up, down := int64(1<<40), int64(1<<40)
			if cut < *cuts {
				if random.IntN(2) == 0 {
					up = random.Int64N(6000)
				} else {
					down = random.Int64N(2500)
				}
			}
			go relay(to, from, up)
			go relay(from, to, down)
		}
	}()
	u.Host = l.Addr().String()
	u.RawQuery = "sslmode=disable"
	return u.String()
}

// relay copies at most n bytes, then cuts both connections.
func relay(to, from net.Conn, n int64) {
	_, _ = io.CopyN(to, from, n)
	to.Close()
	from.Close()
}

// A server that is killed and started again loses nothing that it has confirmed, and a follower
// makes up for what it missed. Meanwhile readings are added to the store.
func TestKilledServer(t *testing.T) {
	server := centraltest.Start(t)
	url := server.Database("ohmkeep")
	r := shelf(t, "North hall")
	s := filled(t, r, 200)
	to := NewSink(url, postgres.Options{}, r)
	to.batch = 25
	var lock sync.Mutex
	var log strings.Builder
	ctx, cancel := context.WithCancel(t.Context())
	followed := make(chan struct{})
	var steps atomic.Int64
	f := ship.Follower{Run: r.Name, To: to, Every: 10 * time.Millisecond, Log: slog.New(slog.NewTextHandler(&lockedWriter{&lock, &log}, nil)),
		Use: func(do func(*store.Store) error) error { steps.Add(1); return do(s) }}
	go func() { f.Follow(ctx); close(followed) }()
	until := func(what string, true func() bool) {
		t.Helper()
		for begun := time.Now(); !true(); time.Sleep(5 * time.Millisecond) {
			if time.Since(begun) > 30*time.Second {
				t.Fatalf("never: %s\n%s", what, log.String())
			}
		}
	}
	for i := range 3 {
		from := steps.Load()
		until("steps", func() bool { return steps.Load() > from+2 })
		server.Kill()
		at := time.Date(2026, 1, 31, 18, i, 0, 0, time.UTC) // before the others
		check(t, appendOne(t, s, r, at, fmt.Sprintf("5.00%d", i)))
		time.Sleep(50 * time.Millisecond)
		server.Launch()
	}
	until("everything has arrived", func() bool {
		d, err := s.Undelivered(t.Context(), r.Name, "another", store.Arrived{}, 1<<20)
		check(t, err)
		out, err := server.SQL("owner", "ohmkeep", "SELECT count(*) FROM ohmkeep.reading")
		return err == nil && strings.TrimSpace(out) == fmt.Sprint(len(d.Readings))
	})
	cancel()
	<-followed
	same(t, s, url, r)
	rows(t, s, server, r)
	lock.Lock()
	defer lock.Unlock()
	if !strings.Contains(log.String(), "readings wait in the store") || !strings.Contains(log.String(), "shipping again") {
		t.Errorf("the log says\n%s", log.String())
	}
}

func appendOne(t *testing.T, s *store.Store, r *run.Run, at time.Time, text string) error {
	_, _, err := s.Append(t.Context(), r.Name, "file", []reading.Reading{{Time: at, Step: "check", Quantity: run.Voltage, From: "west.start+", To: "west.start-", Text: text, Unit: "V", Meter: "hand"}})
	return err
}

type lockedWriter struct {
	*sync.Mutex
	to io.Writer
}

func (w *lockedWriter) Write(b []byte) (int, error) {
	w.Lock()
	defer w.Unlock()
	return w.to.Write(b)
}
