package cli

import (
	"cmp"
	"context"
	"errors"
	"log/slog"
	"net/http"
	"os"
	"os/signal"
	"slices"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"ohmkeep/internal/site/parts"
	"ohmkeep/internal/site/walking"
	"ohmkeep/internal/site/watched"
	"ohmkeep/internal/watch/machine"
	"ohmkeep/internal/watch/recorder"
	"ohmkeep/internal/watch/service"
	"ohmkeep/internal/watch/storage"
)

// watchAddr is the default address of the watch: reachable from this machine only.
const watchAddr = "127.0.0.1:9477"

func newWatch() *cobra.Command {
	var o watchOptions
	c := &cobra.Command{
		Use:   "watch RUN",
		Short: "Record the probes of a run for years, and show their state over HTTP",
		Long: `Watch reads the fixed probes of the run file, opens a probe again after it was unplugged,
and stores the readings. A reading is safe on disk within --commit of its line's arrival;
a power cut loses at most what arrived within that time.

Over HTTP: / shows the run in a browser (ohmkeep help page), /healthz is 200 or the
reasons why not, /metrics, /status is JSON. POST /step with a step's name states the step
that the run shows from now on; an empty name means that it is unknown. With
settle=SECONDS, at most 60, readings within that time are not used. Each change of step is
marked with its sender.

--keep 2y deletes readings of probes outside known steps after that time, once a month, and
keeps the exact minimum, mean and maximum of each hour. Readings in known steps, imports
and the results of drift stay. The log and ohmkeep note list what was deleted.

--ship sends what is stored to a firm's central database too, as ohmkeep ship does. Where
that cannot be reached, readings wait in the store, for weeks if need be. --remote-write
sends them to a metrics server in the same way.

SIGHUP reads the run file again; SIGTERM stores what has arrived and ends.

Who may enter: on this machine, everyone. If --listen lets other machines reach the watch,
it requires --token-file, a file with a token on its only line, or --open, which lets
everyone in. Programs send the token as "Authorization: Bearer TOKEN", people log in with
it on the page; ohmkeep link makes links that may only read. --tls-cert and --tls-key, both
PEM, encrypt what is sent; the files are read again when they change, and so is the token's.
Behind a proxy on this machine everyone counts as on this machine: require the token.`,
		Example: `  ohmkeep watch shelf.toml --store shelf.db
  ohmkeep watch shelf.toml --store shelf.db --listen 0.0.0.0:9477 --token-file cabinet.token
  curl --data "white 5 %" http://127.0.0.1:9477/step`,
		Args:              exactly("RUN"),
		ValidArgsFunction: completeRuns,
		Annotations:       map[string]string{finishes: "stores what has arrived"},
		RunE: func(c *cobra.Command, args []string) error {
			if err := checkStoreFlag(c, o.store); err != nil {
				return err
			}
			if o.commit <= 0 || o.commit > time.Hour {
				return callFault(c, "--commit %v is not more than nothing and up to 1h", o.commit)
			}
			if err := o.entry.check(c); err != nil {
				return err
			}
			return watch(c, args[0], o)
		},
	}
	c.Flags().StringVar(&o.store, "store", "", "the store, a file; made where it does not exist")
	c.Flags().StringVar(&o.listen, "listen", watchAddr, "where to answer over HTTP, host:port")
	o.entry.flags(c)
	o.shipping.flags(c)
	c.Flags().DurationVar(&o.commit, "commit", 10*time.Second, "most time until a reading is safe on disk")
	c.Flags().Var(&o.keep, "keep", "how long readings outside known steps are kept, such as 2y, 18w or 400d; for ever where it is left out")
	c.Flags().BoolVar(&o.simulated, "simulated", false, "store the values of probes on the port simulated, which are not measured")
	c.Flags().DurationVar(&o.analyse, "analyse-after", 0, "time from the start to the first analysis; 0: a minute")
	_ = c.Flags().MarkHidden("analyse-after") // for tests; the flag exists
	return c
}

// watchOptions are the flags of watch.
type watchOptions struct {
	store, listen   string
	entry           entry
	shipping        shipping
	commit, analyse time.Duration
	keep            retention
	simulated       bool
}

func watch(c *cobra.Command, file string, o watchOptions) (err error) {
	load := func() (recorder.Plan, error) {
		e, err := loadRun(file)
		if err != nil {
			return recorder.Plan{}, err
		}
		return recorder.NewPlan(file, e.Run, e.profiles, o.simulated)
	}
	plan, err := load()
	if err != nil {
		return err
	}
	log := slog.New(slog.NewTextHandler(c.ErrOrStderr(), nil))
	guard, certificate, err := o.entry.load(o.listen, log)
	if err != nil {
		return err
	}
	destinations, err := o.shipping.destinations(c, plan.Run, log)
	if err != nil {
		return err
	}
	clocks := machine.System()
	kept, err := storage.Open(c.Context(), storage.Options{Path: o.store, RunFile: file, Run: plan.Run.Name, Listen: o.listen, Boot: clocks.Boot(), Keep: time.Duration(o.keep), Log: log})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, kept.Close()) }()
	floor, newest, err := kept.Newest(c.Context())
	if err != nil {
		return err
	}
	reload := make(chan os.Signal, 1)
	signal.Notify(reload, syscall.SIGHUP)
	defer signal.Stop(reload)
	sending, stop := context.WithCancel(c.Context())
	analyse, sent := follow(sending, kept, plan.Run, destinations, cmp.Or(o.shipping.every, o.commit), log)
	defer func() { stop(); sent() }()
	return service.Run(c.Context(), service.Config{
		Plan: plan, Reload: requests(c.Context(), reload), Load: load,
		Store: kept, Machine: clocks, Disk: kept.Disk, Floor: floor, Before: newest, Listen: o.listen, Access: guard, TLS: certificate, Commit: o.commit,
		Ready: kept.ListensAt, Analyse: analyse, AnalyseAfter: o.analyse, History: kept.NewestHistory(c.Context(), plan.Run),
		Queue: o.store + ".mqtt", Notes: kept.Notes, MarkUncertain: kept.MarkUncertain, Log: log,
		Pages: func(w service.Watch) http.Handler { return watchPages(w, kept, o.store) },
	})
}

// watchPages returns the pages of a watch, and that of a walk along its run.
func watchPages(w service.Watch, kept *storage.Store, path string) http.Handler {
	links := []parts.Link{{To: "/", Text: "Watch"}, {To: "/walk", Text: "Walk"}}
	here := func(i int) []parts.Link {
		list := slices.Clone(links)
		list[i].Here = true
		return list
	}
	walk := &watchedWalk{watch: w, path: path, links: here(1)}
	go walk.shut()
	mux := http.NewServeMux()
	for _, at := range walking.Paths() {
		mux.Handle(at, walk)
	}
	mux.Handle("/", watched.New(w, kept, watched.Options{Note: kept.Note, Program: version(), Links: here(0), Streams: parts.NewStreams(w.MaxStreams()/2, w.Done())}))
	return mux
}

// requests converts signals to requests to read the run file again.
func requests(ctx context.Context, signals <-chan os.Signal) <-chan struct{} {
	asked := make(chan struct{})
	go func() {
		for {
			select {
			case <-signals:
			case <-ctx.Done():
				return
			}
			select {
			case asked <- struct{}{}:
			case <-ctx.Done():
				return
			}
		}
	}()
	return asked
}
