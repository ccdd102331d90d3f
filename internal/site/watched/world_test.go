package watched

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/creack/pty"

	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/run/runfile"
	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/simulate/months"
	"ohmkeep/internal/simulate/plant"
	"ohmkeep/internal/site/parts"
	"ohmkeep/internal/store"
	"ohmkeep/internal/watch/recorder"
	"ohmkeep/internal/watch/service"
	"ohmkeep/internal/watch/storage"
	"ohmkeep/internal/watch/watchtest"
	"ohmkeep/internal/web/access"
)

// loft is an invented run of three reels that a board reads at every place. Two supplies feed it
// from its ends; the plus conductor is cut between them.
var loft = runtest.Strip("Loft stairs") + `[[supply]]
name = "B"
volts = 5.1
amps = 20
milliohms = 5
` + runtest.Reels(3, "lower", "middle", "upper") + `
[[joint]]
between = ["middle", "upper"]
plus = "cut"
[[feed]]
name = "near"
from = "A"
to = "lower.start"
metres = 2.5
conductor = "14 AWG"
[[feed]]
name = "far"
from = "B"
to = "upper.end"
metres = 7
conductor = "14 AWG"
` + runtest.White("dark", 0) + runtest.White("check", 0.2) + runtest.BoardMeter

// probe is the board of the run on a port.
const probe = `
[[probe]]
name = "board"
profile = "plain-lines"
port = %q
meter = "board"
[[probe.channel]]
id = "1"
quantity = "voltage"
from = "lower.start+"
to = "lower.start-"
[[probe.channel]]
id = "2"
quantity = "voltage"
from = "lower.end+"
to = "middle.start+"
[[probe.channel]]
id = "3"
quantity = "current"
from = "near"
`

// How long the simulated record is, when its joint fails and is re-made, and from when on the feed
// corrodes, in days.
const (
	recorded = 240
	failed   = 150
	remade   = 200
	corrodes = 140
)

// simulated is the path of a store with the simulated record of the loft up to today, which is made
// once. The joint lower-middle jumps and is re-made; a contact of feed far corrodes.
var simulated = sync.OnceValues(func() (path string, err error) {
	folder, err := os.MkdirTemp("", "loft")
	if err != nil {
		return "", err
	}
	path = filepath.Join(folder, "loft.db")
	r, err := runfile.Parse("loft.toml", []byte(loft))
	if err != nil {
		return "", err
	}
	begin := time.Now().Truncate(24*time.Hour).AddDate(0, 0, -recorded)
	story := months.Scenario{Begin: begin, Days: recorded, Every: 4 * time.Hour, Check: "check", CheckAt: 3 * time.Hour,
		Currents: true, TemperatureRead: true, DayCycle: 6, Season: 12,
		Change: func(day float64, p *plant.Plant, _ *rand.Rand) {
			if day > failed && day < remade {
				p.Joints[0].Plus += 0.030
			}
			if day > corrodes {
				p.Feeds[1].Plus += 0.0006 * (day - corrodes)
			}
		}}
	s, err := store.Open(path)
	if err != nil {
		return "", err
	}
	defer s.Close()
	_, _, err = s.AppendSeq(context.Background(), r.Name, "board", months.Readings(r, story, 3))
	return path, err
})

// remadeAt is when the joint was re-made, of which the record has no note.
func remadeAt() time.Time {
	return time.Now().Truncate(24*time.Hour).AddDate(0, 0, remade-recorded).Add(12 * time.Hour)
}

// world is a watch over the loft with its pages, which a board feeds over a pseudo-terminal.
type world struct {
	t       *testing.T
	address string
	folder  string
	log     *watchtest.Log
	board   *os.File
	port    string
	volts   atomic.Int64 // mV that the board sends on channel 1
	silent  atomic.Bool
	entry   access.Options
	stop    func()
}

// begin starts a watch over the simulated record, or over an empty store. It ends with the test.
func begin(t *testing.T, withRecord bool, entry access.Options) *world {
	t.Helper()
	board, terminal, err := pty.Open()
	if err != nil {
		t.Skip("no pseudo-terminals here: ", err)
	}
	w := &world{t: t, folder: t.TempDir(), log: &watchtest.Log{}, board: board, port: terminal.Name(), entry: entry}
	t.Cleanup(func() { board.Close(); terminal.Close() })
	w.volts.Store(5020)
	if withRecord {
		path, err := simulated()
		if err != nil {
			t.Fatal(err)
		}
		content, err := os.ReadFile(path)
		if err == nil {
			err = os.WriteFile(filepath.Join(w.folder, "loft.db"), content, 0o644)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	w.address = l.Addr().String()
	l.Close()
	go w.send(t.Context())
	w.start()
	t.Cleanup(func() { w.stop() })
	return w
}

// send is the board: it sends its three values five times a second.
func (w *world) send(ctx context.Context) {
	for tick := time.NewTicker(200 * time.Millisecond); ; {
		select {
		case <-tick.C:
		case <-ctx.Done():
			tick.Stop()
			return
		}
		if !w.silent.Load() {
			fmt.Fprintf(w.board, "1,%.3f,V\n2,12.5,mV\n3,1.842,A\n", float64(w.volts.Load())/1000)
		}
	}
}

// start starts the watch and waits until it is ready. stop ends it.
func (w *world) start() {
	w.t.Helper()
	plan := w.plan()
	log := slog.New(slog.NewTextHandler(w.log, nil))
	kept, err := storage.Open(w.t.Context(), storage.Options{Path: filepath.Join(w.folder, "loft.db"), RunFile: "loft.toml", Run: plan.Run.Name, Listen: w.address, Log: log})
	if err != nil {
		w.t.Fatal(err)
	}
	w.entry.Address, w.entry.Log = w.address, log
	guard, err := access.New(w.entry)
	if err != nil {
		w.t.Fatal(err)
	}
	ready, ended := make(chan string, 1), make(chan error, 1)
	ctx, cancel := context.WithCancel(context.Background())
	go func() {
		ended <- service.Run(ctx, service.Config{Plan: plan, Store: kept, Listen: w.address, Access: guard, Commit: time.Second, Log: log,
			Ready: func(addr string) { ready <- addr }, Analyse: kept.Analyse, AnalyseAfter: time.Millisecond, Notes: kept.Notes, Disk: kept.Disk,
			Pages: func(of service.Watch) http.Handler {
				return New(of, kept, Options{Streams: parts.NewStreams(of.MaxStreams(), of.Done()), Note: kept.Note, Program: "1.2.3"})
			}})
	}()
	w.stop = sync.OnceFunc(func() {
		cancel()
		if err := <-ended; err != nil {
			w.t.Error(err)
		}
		if err := kept.Close(); err != nil {
			w.t.Error(err)
		}
	})
	select {
	case <-ready:
	case err := <-ended:
		w.t.Fatal(err)
	case <-time.After(time.Minute):
		w.t.Fatal("never ready")
	}
}

func (w *world) url(path string) string { return "http://" + w.address + path }

// plan returns the plan of the loft with its board.
func (w *world) plan() recorder.Plan {
	w.t.Helper()
	r := runtest.Parse(w.t, loft+fmt.Sprintf(probe, w.port))
	device, err := profile.Load("plain-lines", "")
	if err != nil {
		w.t.Fatal(err)
	}
	return recorder.Plan{Run: r, Profiles: []*profile.Profile{device}}
}

// untilAnalysed waits until the first analysis of the record is done.
func (w *world) untilAnalysed() {
	w.t.Helper()
	for begun := time.Now(); ; time.Sleep(20 * time.Millisecond) {
		if code, text := w.get("/"); code == 200 && strings.Contains(text, `href="element?kind=joint`) {
			return
		} else if time.Since(begun) > time.Minute {
			w.t.Fatalf("never analysed: %d\n%s", code, w.log)
		}
	}
}

// get returns the answer to a GET.
func (w *world) get(path string) (int, string) {
	w.t.Helper()
	return answer(w.t, func() (*http.Response, error) { return http.Get(w.url(path)) })
}

func answer(t *testing.T, ask func() (*http.Response, error)) (int, string) {
	t.Helper()
	r, err := ask()
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	if err != nil {
		t.Fatal(err)
	}
	return r.StatusCode, string(b)
}

// note stores a note before the first analysis has ended, or after it.
func (w *world) note(at time.Time, text string) {
	w.t.Helper()
	code, body := answer(w.t, func() (*http.Response, error) {
		return http.PostForm(w.url("/note"), url.Values{"text": {text}, "at": {at.Local().Format(localTime)}})
	})
	if code != 200 {
		w.t.Fatalf("%d %s", code, body)
	}
}
