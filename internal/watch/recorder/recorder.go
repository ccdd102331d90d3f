// Package recorder reads the instruments of a run for years and hands their readings to the store.
// In the run file an instrument at a port is a probe.
//
// Each probe has one goroutine. It opens the port, reads it, and opens it again without limit after
// it was unplugged. A reading is dated, labelled with the step that the run shows, and queued. One
// writer commits the queue to the store, so that a reading is safe on disk within the commit
// interval of its line's arrival. If the store fails, the writer tries again. Meanwhile readings
// wait within a budget of bytes; beyond it the oldest are dropped and counted.
//
// A broker keeps a message until the recorder has its readings on disk (await.go), so that none is
// lost when the program is killed.
//
// Only measured values become readings. A line that cannot be parsed or names no channel is counted
// as bad. A value that the instrument marks as invalid, that its meter cannot show, or that was
// taken before the step had settled, is counted as unusable. Such a sample is stored with its
// quality and the instrument's own text, and is not exported.
//
// A board that sends its identity about once a minute has restarted if it does so sooner than half
// a minute, later than five minutes, or before three quarters of its own interval; one restart that
// falls on the interval is missed. A gap is marked twice, when it begins and when it ends, because
// a power cut may prevent the second mark.
//
// Lines that waited while the program did not run are dated by the board's interval, where that
// is regular and all have come; otherwise their dates are marked as uncertain (stall.go).
//
// The log gets one line for a change of state, and none for a line of a device. Marks and log lines
// that a device or a client can cause are limited in rate, with a count.
package recorder

import (
	"context"
	"io"
	"log/slog"
	"sync"
	"time"

	"ohmkeep/internal/instrument"
	"ohmkeep/internal/instrument/modbus"
	"ohmkeep/internal/instrument/mqtt"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/watch/machine"
	"ohmkeep/internal/watch/probe"
)

// Opener opens a probe of the run file; the Open of a probe.Opener is one.
type Opener func(ctx context.Context, x run.Probe, p *profile.Profile, o instrument.Options) (instrument.Instrument, error)

// Options are what a recorder works with.
type Options struct {
	Store      Store
	Clock      *machine.Clock
	Commit     time.Duration      // longest time from the arrival of a line until it is safe on disk
	Open       Opener             // nil: that of a probe.Opener
	Log        *slog.Logger       // nil: no log
	Before     []reading.Recorded // newest good readings in the store at the start
	Broker     *mqtt.Link         // from which probes receive; nil: there is none
	QueueBytes int                // largest number of bytes of waiting readings; 0: 20 MiB
}

// defaultQueueBytes is room for about 380,000 readings: 40 minutes of 16 channels at 10 Hz. With a
// full queue the watch stays within the 128 MiB of its unit (TestFullDisk of package cli).
const defaultQueueBytes = 20 << 20

// Recorder records. All its methods may be called from any goroutine.
type Recorder struct {
	o             Options
	started       machine.Stamp
	checkInterval time.Duration // between two checks of the clock, the schedule and the probes
	wake          chan struct{} // makes the writer check the queue
	tried         chan struct{}
	buses         modbus.Buses

	mu      sync.Mutex // guards all fields below
	plan    Plan
	running bool
	probes  []*device // in the order of the plan
	steps   steps
	// Limits of accepted announcements of steps, and of their marks.
	announced, stepMarks rateLimit
	lastRun              time.Duration // when the recorder last ran, since boot
	stall                stall         // the newest
	stallMarks           rateLimit

	queue         queue
	commit        commits
	totalsByProbe map[string]*totals // by the probe's name
	readers       sync.WaitGroup     // goroutines of probes
}

// New returns a recorder, which does nothing before Run.
func New(p Plan, o Options) *Recorder {
	if o.Log == nil {
		o.Log = slog.New(slog.NewTextHandler(io.Discard, nil))
	}
	if o.QueueBytes == 0 {
		o.QueueBytes = defaultQueueBytes
	}
	r := &Recorder{o: o, started: o.Clock.Now(), checkInterval: time.Second, wake: make(chan struct{}, 1), tried: make(chan struct{}),
		announced: newRateLimit(announceBurst, announceInterval), stepMarks: newRateLimit(stepMarkBurst, stepMarkInterval),
		stallMarks: newRateLimit(3, stallMarks)}
	r.queue.maxBytes = o.QueueBytes
	r.plan, r.totalsByProbe = p, map[string]*totals{}
	r.steps.use(p.Run)
	return r
}

// Run records until ctx ends. Then it reads the lines that have arrived, commits them and
// returns within two seconds. No error of a probe or of the store ends it.
func (r *Recorder) Run(ctx context.Context) {
	writing, stop := context.WithCancel(context.WithoutCancel(ctx))
	written := make(chan struct{})
	go func() {
		r.commitQueue(writing)
		close(written)
	}()
	r.mu.Lock()
	r.running = true
	plan := r.plan
	r.mu.Unlock()
	r.Mark(Started, "", "")
	go func() {
		r.Use(ctx, plan)
		close(r.tried)
	}()
	tick := time.NewTicker(r.checkInterval)
	defer tick.Stop()
	for ctx.Err() == nil {
		select {
		case <-tick.C:
			r.o.Clock.Check()
			r.monitor()
		case <-ctx.Done():
		}
	}
	r.mu.Lock()
	r.running = false
	r.mu.Unlock()
	<-r.tried // no reader is started after this
	r.readers.Wait()
	r.mu.Lock()
	for _, p := range r.probes {
		p.queueWaitingLines()
	}
	r.mu.Unlock()
	r.Mark(Stopped, "", "")
	stop()
	<-written
}

// Tried is closed once Run has tried to open the port of every probe. A Modbus slave need not have answered.
func (r *Recorder) Tried() <-chan struct{} { return r.tried }

// Use changes what is recorded, before Run or while it runs. A probe with the same name, port and
// profile stays open, so that no line is lost. A new probe is read until ctx ends. Use returns when
// every new probe has been tried once, or ctx has ended.
func (r *Recorder) Use(ctx context.Context, p Plan) {
	r.mu.Lock()
	running := r.running
	r.plan = p
	r.steps.use(p.Run)
	if !running {
		r.mu.Unlock()
		return
	}
	var kept, leaving, fresh []*device
	old := r.probes
	open := r.o.Open
	if open == nil {
		open = (&probe.Opener{Run: p.Run, Dir: p.Dir}).Open
	}
	for i, its := range p.Run.Probes {
		w := wire(p.Run, i)
		w.restoreLast(r.o.Before, p.Run.Probes[i].Name, r.started)
		if len(w.channels) == 0 {
			continue // a carried meter
		}
		var one *device
		for k, o := range old {
			if o != nil && o.same(its, p.Profiles[i]) {
				one, old[k] = o, nil
				break
			}
		}
		if one == nil {
			one = newDevice(r, its, p.Profiles[i], open)
			fresh = append(fresh, one)
		}
		one.use(w)
		kept = append(kept, one)
	}
	for _, o := range old {
		if o != nil {
			leaving = append(leaving, o)
		}
	}
	r.probes = kept
	r.mu.Unlock()

	for _, o := range leaving {
		o.stop()
		<-o.ended // its port must be free before another opens it
	}
	for _, f := range fresh {
		f.start(ctx)
	}
	for _, f := range fresh {
		select {
		case <-f.tried:
		case <-ctx.Done():
		}
	}
}

// Redate dates the readings that are not stored yet by the present state of the clock.
func (r *Recorder) Redate() {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.queue.redate(r.o.Clock)
}

// monitor detects probes that are silent or send unreadable lines, and sets the scheduled step.
func (r *Recorder) monitor() {
	r.mu.Lock()
	defer r.mu.Unlock()
	now := r.o.Clock.Now()
	r.noteRunning(now.SinceBoot)
	if was, is, changed := r.steps.followSchedule(now, r.o.Clock.Certain()); changed {
		r.o.Log.Info("scheduled step", "was", was, "is", is)
	}
	for _, p := range r.probes {
		p.monitor(now.SinceBoot)
	}
}

// totals returns the totals of a probe by its name; r.mu is held.
func (r *Recorder) totals(probe string) *totals {
	if r.totalsByProbe[probe] == nil {
		r.totalsByProbe[probe] = &totals{}
	}
	return r.totalsByProbe[probe]
}
