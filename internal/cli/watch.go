package cli

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"os/signal"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"slices"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/store"
	"ohmkeep/internal/watch/clock"
	"ohmkeep/internal/watch/disk"
	"ohmkeep/internal/watch/metrics"
	"ohmkeep/internal/watch/probe"
	"ohmkeep/internal/watch/recorder"
	"ohmkeep/internal/watch/service"
)

// watchAddr is where a daemon listens that is not told otherwise: on this machine only.
const watchAddr = "127.0.0.1:9477"

// oldest is a date before which this program did not exist.
var oldest = time.Date(2026, time.January, 1, 0, 0, 0, 0, time.UTC)

func newWatch() *cobra.Command {
	var to, listen string
	var commit time.Duration
	var simulated bool
	c := &cobra.Command{
		Use:   "watch RUN",
		Short: "Record the probes of a run for years, and tell over HTTP how they fare",
		Long: `Watch reads every probe of the run file that has its place, opens it again whenever it
was unplugged, and stores what it says. A reading is safe on disk within --commit of
its line's arrival; a power cut costs at most what arrived since.

Over HTTP: / one look, /healthz 200 or the reasons why not, /metrics, /status as JSON.
POST /step with a step's name says what the run shows from now on; an empty one, that
it is not known. SIGHUP reads the run file anew, SIGTERM stores what has arrived and
ends. Whoever reaches the address can announce steps: keep it on this machine or in
a network you trust.`,
		Example: `  ohmkeep watch shelf.toml --store shelf.db
  ohmkeep watch shelf.toml --store shelf.db --listen 0.0.0.0:9477 --commit 1m
  curl --data "white 5 %" http://127.0.0.1:9477/step`,
		Args:              exactly("RUN"),
		ValidArgsFunction: completeRuns,
		RunE: func(c *cobra.Command, args []string) error {
			if err := storeNamed(c, to); err != nil {
				return err
			}
			if commit <= 0 || commit > time.Hour {
				return callFault(c, "--commit %v is not more than nothing and up to 1h", commit)
			}
			return watch(c, args[0], to, listen, commit, simulated)
		},
	}
	c.Flags().StringVar(&to, "store", "", "the store, a file; made where it does not exist")
	c.Flags().StringVar(&listen, "listen", watchAddr, "where to answer over HTTP, host:port")
	c.Flags().DurationVar(&commit, "commit", 10*time.Second, "most time until a reading is safe on disk")
	c.Flags().BoolVar(&simulated, "simulated", false, "store what probes on the port simulated say, which was not measured")
	return c
}

func watch(c *cobra.Command, file, to, listen string, commit time.Duration, simulated bool) error {
	plan, err := loadPlan(file, simulated)
	if err != nil {
		return err
	}
	log := slog.New(slog.NewTextHandler(c.ErrOrStderr(), nil))
	machine := clock.System()
	kept := &keeping{path: to, file: file, run: plan.Run.Name, log: log, now: time.Now,
		owner: store.Owner{Name: "ohmkeep watch " + file, Address: listen, Boot: machine.Boot()}}
	if err := kept.open(c.Context()); err != nil {
		return err
	}
	floor, before := oldest, []reading.Recorded(nil)
	if err := kept.use(func(s *store.Store) (err error) {
		floor, before, err = lastOf(c.Context(), s)
		return err
	}); err != nil {
		return errors.Join(err, kept.close())
	}
	kept.rest()
	// A heap of a few megabytes collected a little more often is what a small board
	// can spare best.
	defer debug.SetGCPercent(debug.SetGCPercent(50))
	// One processor is enough for what a watch does, and none has to be woken beside it.
	// Where a port is waited for in a system call (elsewhere than on Linux, see package
	// port), Go's monitor would look for 10 ms after every line whether the processor that
	// was left behind there has work to do, which costs twice as much as reading.
	if os.Getenv("GOMAXPROCS") == "" {
		defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	}
	reload := make(chan os.Signal, 1)
	signal.Notify(reload, syscall.SIGHUP)
	defer signal.Stop(reload)
	err = service.Run(c.Context(), service.Config{
		Plan: plan, Reload: asked(c.Context(), reload), Load: func() (recorder.Plan, error) { return loadPlan(file, simulated) },
		Store: kept, Machine: machine, Disk: kept.disk,
		Floor: floor, Before: before, Listen: listen, Commit: commit,
		Ready:   kept.at,
		Analyse: kept.nightly,
		Notes:   kept.notes,
		Log:     log,
	})
	if closing := kept.close(); err == nil {
		err = closing
	}
	return err
}

// lastOf gives the newest good readings that a store holds, and a date that is past
// for certain. A damaged store is written to nevertheless.
func lastOf(ctx context.Context, kept *store.Store) (floor time.Time, before []reading.Recorded, err error) {
	floor = oldest
	runs, err := kept.Runs(ctx)
	if err != nil && !store.Damaged(err) {
		return floor, nil, err
	}
	for _, r := range runs {
		newest, err := kept.Newest(ctx, r.Name)
		if err != nil && !store.Damaged(err) {
			return floor, nil, err
		}
		before = append(before, newest...)
		for _, x := range newest {
			if x.Time.After(floor) {
				floor = x.Time
			}
		}
	}
	return floor, before, nil
}

// asked turns signals into requests without a kind.
func asked(ctx context.Context, signals <-chan os.Signal) <-chan struct{} {
	requests := make(chan struct{})
	go func() {
		for {
			select {
			case <-signals:
			case <-ctx.Done():
				return
			}
			select {
			case requests <- struct{}{}:
			case <-ctx.Done():
				return
			}
		}
	}()
	return requests
}

// loadPlan reads a run file of which something can be recorded.
func loadPlan(file string, simulated bool) (recorder.Plan, error) {
	e, err := loadRun(file)
	if err != nil {
		return recorder.Plan{}, err
	}
	placed := 0
	var faults fault.List
	for _, p := range e.Probes {
		if p.Port == probe.Simulated && !simulated && slices.ContainsFunc(p.Channels, func(c run.ProbeChannel) bool { return c.From != "" }) {
			faults.Add(fault.Fault{File: file, Key: "probe " + p.Name + ": port", Text: "what is simulated was not measured",
				Hint: "--simulated stores it nevertheless; give it a store of its own"})
		}
		for _, c := range p.Channels {
			if c.From == "" {
				continue
			}
			placed++
			if m := e.Meters[p.Meter]; !m.Measures(c.Quantity) && !m.Shows(c.Quantity, 0) {
				faults.Add(fault.Fault{File: file, Key: "probe " + p.Name + ": channel " + c.ID,
					Text: fmt.Sprintf("meter %q has no %s range", m.Name, c.Quantity), Hint: "add a [[meter.range]] for it"})
			}
		}
	}
	if placed == 0 {
		faults.Add(fault.Fault{File: file, Key: "probe", Text: "no probe has a channel with its place in the run",
			Hint: "add [[probe]] and [[probe.channel]] with from"})
	}
	return recorder.Plan{Run: e.Run, Profiles: e.profiles, Dir: filepath.Dir(file)}, faults.Err()
}

func diskOf(path string) (metrics.Disk, error) {
	space, err := disk.Look(path)
	if err != nil {
		return metrics.Disk{}, err
	}
	d := metrics.Disk{Free: space.Free, Size: space.Size, Written: space.Written}
	for _, part := range []string{"", "-wal", "-shm"} {
		if info, err := os.Stat(path + part); err == nil {
			d.Store += info.Size()
		}
	}
	return d, nil
}
