// Package service is the watch over a run: it records the run's instruments, analyses
// the readings every night, answers over HTTP, and reports to the service manager.
//
// The watch and the run have separate states: the watch is well while its instruments
// are read and its readings are stored; the run fails where a resistance is over its
// limit or changing. Both are shown, the worse first.
//
// Who may enter is decided by web/access, and what is read is limited by web/server. The rate of
// announcements is limited, and their sender is marked.
//
// If the run file is bad on reload, the old one stays in force; the status has a note, and the
// watch stays well. The parts of the watch are tasks of one group: if one ends with an error,
// all end. Commands, signals and files are handled outside and enter by Config.
package service

import (
	"context"
	"fmt"
	"log/slog"
	"net"
	"sync/atomic"
	"time"

	"github.com/coreos/go-systemd/v22/daemon"
	"golang.org/x/sync/errgroup"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/watch/machine"
	"ohmkeep/internal/watch/metrics"
	"ohmkeep/internal/watch/recorder"
	"ohmkeep/internal/web/access"
	"ohmkeep/internal/web/server"
)

// Config is what a daemon works with.
type Config struct {
	Plan   recorder.Plan
	Reload <-chan struct{}               // each value makes the watch read the run file again …
	Load   func() (recorder.Plan, error) // … with this
	Store  recorder.Store                // written to by the recorder alone
	Disk   func() (metrics.Disk, error)  // the disk that the store is on
	Floor  time.Time                     // no date before it can be right; see machine.NewClock
	Before []reading.Recorded            // newest good readings in the store at the start
	Listen string                        // host:port; port 0 takes any
	Access *access.Guard                 // who may enter; nil: this machine's own users
	TLS    *server.Certificate           // nil: without TLS
	Ready  func(addr string)             // called once with the address, after every port was tried; may be nil
	Commit time.Duration                 // see recorder.Options
	Log    *slog.Logger
	// Analyse analyses the stored readings, once after the start and then every night; nil:
	// there is no analysis.
	Analyse      func(context.Context, recorder.Plan) (*history.History, error)
	AnalyseAfter time.Duration    // from the start to the first analysis; 0: a minute
	History      *history.History // of the newest analysis before the start; nil: there was none
	// Notes returns notes on a store that works but needs attention; may be nil.
	Notes func() []string
	// Doubt marks stored dates after a time as uncertain; may be nil.
	MarkUncertain func(ctx context.Context, after time.Time) error
	Machine       machine.Clocks // nil: the one the program runs on
	Pages         Pages          // what a browser opens; nil: nothing
	Open          recorder.Opener
	Queue         string // the file in which messages wait for the run's broker

	readTime time.Duration // see server.Options
}

// Daemon is a running watch.
type Daemon struct {
	config       Config
	recorder     *recorder.Recorder
	clock        *machine.Clock
	changes      chan machine.ClockChange
	datesCertain chan struct{} // dates have become certain
	// analysisWanted asks for an analysis before that of the night.
	analysisWanted chan struct{}
	ready          atomic.Bool
	refused        atomic.Pointer[string] // why the newest run file is not in force
	broker         *broker
	brokerNote     atomic.Bool                     // the newest run file names another broker
	history        atomic.Pointer[history.History] // of the newest analysis
	plan           atomic.Pointer[recorder.Plan]
}

// Run watches until ctx ends, then commits what has arrived and returns nil within two seconds. It
// returns an error if it could not start, or can no longer answer requests.
func Run(ctx context.Context, c Config) error {
	defer tuneRuntime()()
	if c.Machine == nil {
		c.Machine = machine.System()
	}
	if c.Access == nil {
		var err error
		if c.Access, err = access.New(access.Options{Address: c.Listen, Log: c.Log}); err != nil {
			return err
		}
	}
	d := &Daemon{config: c, changes: make(chan machine.ClockChange, 64), datesCertain: make(chan struct{}, 1), analysisWanted: make(chan struct{}, 1)}
	d.clock = machine.NewClock(c.Machine, c.Floor, func(change machine.ClockChange) {
		select {
		case d.changes <- change:
		default: // the clock was set 64 times since the last one was handled
		}
	})
	d.plan.Store(&c.Plan)
	d.history.Store(c.History)
	var err error
	if d.broker, err = d.openBroker(); err != nil {
		return err
	}
	defer func() { _ = d.broker.close() }() // after the recorder: what it has stored is acknowledged
	d.recorder = recorder.New(c.Plan, recorder.Options{Broker: d.broker.connection(), Store: c.Store, Clock: d.clock, Commit: c.Commit, Open: c.Open, Before: c.Before, Log: c.Log})
	listener, err := server.Listen(c.Listen)
	if err != nil {
		return err
	}
	for _, note := range c.Access.Notes() {
		c.Log.Warn(note)
	}
	tasks, ctx := errgroup.WithContext(ctx)
	answers := server.New(listener, c.Access.Handler(d.handler(ctx.Done()), "/files/"), server.Options{Certificate: c.TLS, ReadTime: c.readTime})

	tasks.Go(answers.Serve)
	tasks.Go(func() error {
		<-ctx.Done()
		notify(daemon.SdNotifyStopping)
		// Requests are answered while the last readings are stored.
		answers.Shutdown(context.WithoutCancel(ctx))
		return nil
	})
	tasks.Go(func() error { d.recorder.Run(ctx); return nil })
	tasks.Go(func() error { return d.follow(ctx, d.address(listener)) })
	tasks.Go(func() error { return d.broker.publish(ctx) })
	tasks.Go(func() error { return d.analyse(ctx) })
	tasks.Go(func() error { return d.markFutureDates(ctx) })
	return tasks.Wait()
}

// address returns where the watch answers: host:port, or a URL if it answers with TLS.
func (d *Daemon) address(l net.Listener) string {
	if d.config.TLS != nil {
		return "https://" + l.Addr().String()
	}
	return l.Addr().String()
}

// follow waits until every probe was tried, then serves the service manager, the
// clock's changes and requests to read the run file again.
func (d *Daemon) follow(ctx context.Context, addr string) error {
	select {
	case <-d.recorder.Tried():
	case <-ctx.Done():
		return nil
	}
	d.ready.Store(true)
	d.config.Log.Info("watching", "run", d.plan.Load().Run.Name, "listen", addr)
	d.warn()
	if d.config.Ready != nil {
		d.config.Ready(addr)
	}
	notify(daemon.SdNotifyReady + "\nSTATUS=watching " + d.plan.Load().Run.Name)
	for tick := watchdog(); ; {
		select {
		case <-tick:
			// Snapshot takes the lock of the recorder. If the recorder hangs, the watchdog is
			// not notified, and the service manager restarts the watch.
			d.recorder.Snapshot()
			notify(daemon.SdNotifyWatchdog)
		case c := <-d.changes:
			d.clockChanged(c)
		case <-d.config.Reload:
			d.reload(ctx)
		case <-ctx.Done():
			return nil
		}
	}
}

// clockChanged logs and marks a change of the basis of dates. Readings that wait are dated again.
func (d *Daemon) clockChanged(c machine.ClockChange) {
	log := d.config.Log.Info
	if !c.Certain {
		log = d.config.Log.Warn
	}
	log("clock", "certain", c.Certain, "why", c.Why, "dates moved by", c.By)
	text := c.Why
	if c.By != 0 {
		text += fmt.Sprintf("; dates moved by %v", c.By)
	}
	d.recorder.MarkAt(c.Stamp, recorder.Clock, "", text)
	if !c.Certain {
		return
	}
	if c.By != 0 {
		d.recorder.Redate()
	}
	select {
	case d.datesCertain <- struct{}{}:
	default: // markFutureDates has not handled the last one yet
	}
}

// warn logs hazards of the run.
func (d *Daemon) warn() {
	for _, warning := range d.plan.Load().Run.ParallelWarnings() {
		d.config.Log.Warn(warning)
	}
}

// reload reads the run file again. A bad one is refused and the old one stays.
func (d *Daemon) reload(ctx context.Context) {
	notifyReloading()
	defer notify(daemon.SdNotifyReady)
	p, err := d.config.Load()
	if err != nil {
		why := err.Error()
		d.config.Log.Error("the run file is refused; the old one stays in force", "why", err)
		d.refused.Store(&why)
		return
	}
	d.refused.Store(nil)
	d.plan.Store(&p)
	d.reloadBroker(p)
	d.recorder.Use(ctx, p)
	d.recorder.Mark(recorder.Changed, "", "")
	d.config.Log.Info("the run file was read again", "run", p.Run.Name)
	d.warn()
}
