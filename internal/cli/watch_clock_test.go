package cli

import (
	"context"
	"fmt"
	"log/slog"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/watch/machine"
	"ohmkeep/internal/watch/recorder"
	"ohmkeep/internal/watch/service"
	"ohmkeep/internal/watch/storage"
	"ohmkeep/internal/watch/watchtest"
)

// setClock is this machine with a wall clock that is off, and a boot of its own.
type setClock struct {
	machine.Clocks
	off          time.Duration
	boot         string
	synchronised bool
}

func (c setClock) Wall() time.Time    { return c.Clocks.Wall().Add(c.off) }
func (c setClock) Boot() string       { return c.boot }
func (c setClock) Synchronised() bool { return c.synchronised }
func (c setClock) Battery() bool      { return true }

// watchBy records n readings of a board under clocks, until a text is logged.
func (s session) watchBy(clocks machine.Clocks, say func(), n int, logged string) {
	s.Helper()
	r, err := loadRun(s.path("shelf.toml"))
	if err != nil {
		s.Fatal(err)
	}
	plan, err := recorder.NewPlan(s.path("shelf.toml"), r.Run, r.profiles, false)
	if err != nil {
		s.Fatal(err)
	}
	out := &watchtest.Log{}
	log := slog.New(slog.NewTextHandler(out, nil))
	kept, err := storage.Open(s.Context(), storage.Options{Path: s.path("shelf.db"), RunFile: s.path("shelf.toml"), Run: r.Name, Boot: clocks.Boot(), Log: log, Now: clocks.Wall})
	if err != nil {
		s.Fatal(err)
	}
	floor, before, err := kept.Newest(s.Context())
	if err != nil {
		s.Fatal(err)
	}
	ctx, stop := context.WithCancel(s.Context())
	ended := make(chan error)
	w := &watching{session: s, addr: s.freeAddress(), out: out}
	go func() {
		ended <- service.Run(ctx, service.Config{Plan: plan, Store: kept, Machine: clocks, Disk: kept.Disk, Floor: floor, Before: before,
			Listen: w.addr, Commit: 20 * time.Millisecond, Notes: kept.Notes, MarkUncertain: kept.MarkUncertain, Log: log})
	}()
	w.until("ready", func() bool { status, _ := w.ask("GET", "/healthz", ""); return status == 200 })
	for range n {
		say()
	}
	w.shows(fmt.Sprintf(`ohmkeep_readings_total{probe="cabinet",run="Book shelf"} %d`, n))
	w.until(logged, func() bool { return strings.Contains(out.String(), logged) })
	stop()
	if err := <-ended; err != nil {
		s.Fatalf("%v\n%s", err, out)
	}
	if err := kept.Close(); err != nil {
		s.Fatal(err)
	}
}

// A watch that was started once with its clock in 2099 dates rightly after the next start that
// a time service vouches for; what it stored in 2099 is marked, and moved by a command.
func TestOneStartIn2099(t *testing.T) {
	s := newParallelSession(t)
	pair := s.terminal()
	s.write("shelf.toml", shelf+board("cabinet", pair.Path))
	said := 0
	say := func() {
		said++
		s.say(pair, fmt.Sprintf("1,%d.5,V\n", said))
	}
	clocks := machine.System()
	const years73 = 73 * 365 * 24 * time.Hour
	s.watchBy(setClock{clocks, 0, "one", false}, say, 3, "certain=true")
	s.watchBy(setClock{clocks, years73, "two", false}, say, 5, "certain=true")
	s.watchBy(setClock{clocks, 0, "three", false}, say, 4, "the wall clock is earlier than what is stored")
	s.watchBy(setClock{clocks, 0, "three", true}, say, 6, "stored readings have dates in the future")
	misdated := func() (n int) {
		for _, row := range strings.Split(strings.TrimSpace(s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).out), "\n")[1:] {
			at, err := time.Parse(time.RFC3339Nano, row[:strings.Index(row, ",")])
			if err != nil {
				t.Fatal(err)
			}
			if time.Since(at).Abs() > time.Hour {
				n++
			}
		}
		return n
	}
	if n := misdated(); n != 9 {
		t.Errorf("%d readings have a wrong date", n)
	}
	s.do(`ohmkeep note shelf.toml --store shelf.db`).exits(Passes).prints("5 readings have later dates, which are marked as uncertain")
	s.do(`ohmkeep store redate shelf.toml --store shelf.db --since 2099-01-01T00:00:00Z`).refused("--since says which readings move")
	// Those of the start with a certain date follow from the time since boot; the rest is reported.
	s.do(`ohmkeep store redate shelf.toml --store shelf.db`).exits(Passes).prints("moved: 4 readings dated from", "stay, with an uncertain date: 5 readings dated from")
	s.do(`ohmkeep store redate shelf.toml --store shelf.db --since 2098-01-01T00:00:00Z --to ` + time.Now().UTC().Add(-time.Second).Format(time.RFC3339)).
		exits(Passes).prints("moved: 5 readings dated from")
	if n := misdated(); n != 0 {
		t.Errorf("%d readings have a wrong date", n)
	}
	s.do(`ohmkeep store redate shelf.toml --store shelf.db`).exits(Passes).prints("no reading has an uncertain date")
	s.do(`ohmkeep note shelf.toml --store shelf.db`).exits(Passes).prints("readings redated", "5 readings dated from 2")
	s.do(`ohmkeep store check shelf.db`).exits(Passes).prints("18 readings whole")
}
