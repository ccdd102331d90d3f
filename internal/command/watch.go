package command

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"os/signal"
	"runtime/debug"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"ohmkeep/internal/clock"
	"ohmkeep/internal/daemon"
	"ohmkeep/internal/disk"
	"ohmkeep/internal/fault"
	"ohmkeep/internal/lock"
	"ohmkeep/internal/metrics"
	"ohmkeep/internal/recorder"
	"ohmkeep/internal/store"
)

// watchAddr is where a daemon listens that is not told otherwise: on this machine only.
const watchAddr = "127.0.0.1:9477"

// oldest is a date before which this program did not exist.
var oldest = time.Date(2026, time.January, 1, 0, 0, 0, 0, time.UTC)

// lockSuffix names the lock beside a store.
const lockSuffix = ".watch"

func newWatch() *cobra.Command {
	var to, listen string
	var commit time.Duration
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
			return watch(c, args[0], to, listen, commit)
		},
	}
	c.Flags().StringVar(&to, "store", "", "the store, a file; made where it does not exist")
	c.Flags().StringVar(&listen, "listen", watchAddr, "where to answer over HTTP, host:port")
	c.Flags().DurationVar(&commit, "commit", 10*time.Second, "most time until a reading is safe on disk")
	return c
}

func watch(c *cobra.Command, file, to, listen string, commit time.Duration) error {
	plan, err := loadPlan(file)
	if err != nil {
		return err
	}
	holder := lock.Holder{Process: os.Getpid(), Run: plan.Run.Name, Address: listen, Since: time.Now().UTC().Truncate(time.Second)}
	alone, err := lock.Take(to+lockSuffix, holder)
	if held, ok := errors.AsType[lock.Held](err); ok {
		return fault.Fault{File: to, Text: held.Error(), Hint: "one watch writes to a store"}
	} else if err != nil {
		return reason(err)
	}
	defer alone.Release() // at the end of the program it is gone anyway
	kept, err := store.Open(to)
	if err != nil {
		return err
	}
	machine := clock.System()
	writer, err := kept.Writer(c.Context(), store.Owner{Name: "ohmkeep watch " + file, Boot: machine.Boot()})
	if err != nil {
		return errors.Join(err, kept.Close())
	}
	// A heap of a few megabytes collected a little more often is what a small board
	// can spare best.
	defer debug.SetGCPercent(debug.SetGCPercent(50))
	reload := make(chan os.Signal, 1)
	signal.Notify(reload, syscall.SIGHUP)
	defer signal.Stop(reload)
	log := slog.New(slog.NewTextHandler(c.ErrOrStderr(), nil))
	err = daemon.Run(c.Context(), daemon.Config{
		Plan: plan, Reload: asked(c.Context(), reload), Load: func() (recorder.Plan, error) { return loadPlan(file) },
		Store: storing{writer}, Machine: machine, Disk: func() (metrics.Disk, error) { return diskOf(to) },
		Floor: oldest, Listen: listen, Commit: commit, Getenv: os.Getenv,
		Ready: func(addr string) {
			holder.Address = addr
			_ = alone.Say(holder) // it says so already but for a port that the system chose
		},
		Analyse: nightly{kept, log, time.Now}.analyse,
		Log:     log,
	})
	if closing := errors.Join(writer.Close(), kept.Close()); err == nil {
		err = closing
	}
	return err
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
func loadPlan(file string) (recorder.Plan, error) {
	e, err := loadRun(file)
	if err != nil {
		return recorder.Plan{}, err
	}
	placed := 0
	var faults fault.List
	for _, p := range e.Probes {
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
	return recorder.Plan{Run: e.Run, Profiles: e.profiles}, faults.Err()
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
