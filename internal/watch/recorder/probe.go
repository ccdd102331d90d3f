package recorder

import (
	"cmp"
	"context"
	"maps"
	"reflect"
	"sync"
	"sync/atomic"
	"time"

	"ohmkeep/internal/instrument"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/watch/machine"
	"ohmkeep/internal/watch/probe"
)

// device is one probe of the run file and the goroutine that reads it.
type device struct {
	r       *Recorder
	name    string
	port    string
	config  run.Probe // its entry in the run file when it was opened
	profile *profile.Profile
	open    Opener
	wiring  atomic.Pointer[wiring]
	totals  *totals

	cancel context.CancelFunc
	tried  chan struct{} // closed when its port was opened, or the first try to open it has failed
	ended  chan struct{} // closed when its goroutine has ended

	// All below is guarded by r.mu.
	state            state
	identity         string
	why              string        // the last error; "" while state is up
	changed          machine.Stamp // when state changed
	lastLine         time.Duration // time of the last line, or of opening, since boot
	lastValues       time.Duration // date of the last line with values, since boot; no two lines share one
	good             uint64        // lines with readings, since it was opened
	bad              uint64        // bad lines, since it was opened
	lastGood         uint64        // good and bad when they were last compared …
	lastBad          uint64
	comparedAt       time.Duration // … at this time since boot
	silent           bool
	silentSince      machine.Stamp // time of the last line before the silence
	identityLine     string        // the comment with the board's identity; "" = none since it was opened
	identityAt       time.Duration // when the identity line last arrived, since boot
	identityInterval time.Duration // longest usual interval between two identity lines; 0 = not known
	restarts         rateLimit     // of marks of restarts
	faults           rateLimit     // of marks of faults
	unreadable       bool          // most lines cannot be parsed
	waitingLines     []waitingLine // read after a stall
	recovered        stall         // the newest stall whose waiting lines were all read
	stalls           rateLimit     // of marks of waiting lines
}

// state is whether a probe is opened.
type state int

const (
	untried state = iota
	down
	up
)

// totals are counts of a probe since the program's start. They continue when the probe is
// unplugged or the run file is read again.
type totals struct{ stored, bad, skipped, unusable, lost, restarts uint64 }

func newDevice(r *Recorder, its run.Probe, p *profile.Profile, open Opener) *device {
	return &device{r: r, name: its.Name, port: its.Port, config: its, profile: p, open: open, totals: r.totals(its.Name),
		restarts: newRateLimit(1, restartMarks), faults: newRateLimit(faultBurst, faultMarks), stalls: newRateLimit(3, stallMarks),
		tried: make(chan struct{}), ended: make(chan struct{})}
}

// same reports whether an entry of a run file is this probe. A simulated probe never is: its
// simulation is of one run, and starts again with another.
func (p *device) same(its run.Probe, of *profile.Profile) bool {
	return p.name == its.Name && p.port == its.Port && p.config.Slave == its.Slave && p.config.Topic == its.Topic && reflect.DeepEqual(p.profile, of) &&
		maps.Equal(shunts(p.config), shunts(its)) && p.port != probe.Simulated
}

// shunts returns the correct resistances of the shunts by channel.
func shunts(its run.Probe) map[string]float64 {
	all := map[string]float64{}
	for _, c := range its.Channels {
		if c.Shunt > 0 {
			all[c.ID] = c.Shunt
		}
	}
	return all
}

// use replaces the wiring of the probe.
func (p *device) use(w *wiring) {
	if before := p.wiring.Load(); before != nil {
		w.copyState(before)
	}
	w.setProbe(p)
	p.wiring.Store(w)
}

func (p *device) start(ctx context.Context) {
	ctx, p.cancel = context.WithCancel(ctx)
	p.r.readers.Add(1)
	go func() {
		defer p.r.readers.Done()
		defer close(p.ended)
		p.run(ctx)
	}()
}

func (p *device) stop() { p.cancel() }

// Back-off between two tries to open a probe. A device that was plugged in again is opened
// within longestPause; a try costs little.
const (
	firstPause   = 50 * time.Millisecond
	longestPause = 2 * time.Second
)

// run opens the probe, reads it, and reopens it after an error, until ctx ends.
func (p *device) run(ctx context.Context) {
	var once sync.Once
	tried := func() { once.Do(func() { close(p.tried) }) }
	defer tried()
	for pause := firstPause; ctx.Err() == nil; {
		opened, err := p.open(ctx, p.config, p.profile, instrument.Options{Clock: p.now, Log: p.receive,
			Buses: &p.r.buses, PortOpened: tried, Broker: p.r.o.Broker})
		if err == nil {
			p.markUp(opened.Identity())
			tried()
			err = p.read(ctx, opened)
			if closing := opened.Close(); err == nil {
				err = closing
			}
			if p.sentValues() {
				pause = firstPause
			}
		}
		if ctx.Err() != nil {
			return
		}
		p.markDown(err)
		tried()
		select {
		case <-time.After(pause):
		case <-ctx.Done():
		}
		pause = min(2*pause, longestPause)
	}
}

// now is the clock of instruments: the time since boot, which cannot be set, written as a time
// since 1970.
func (p *device) now() time.Time { return time.Unix(0, int64(p.r.o.Clock.SinceBoot())) }

// read reads the device until it is unplugged or ctx ends.
func (p *device) read(ctx context.Context, device instrument.Instrument) error {
	if !p.profile.Kind.SendsByItself() {
		return p.query(ctx, device)
	}
	for {
		// receive gets all samples of a line at once.
		if _, err := device.Next(ctx); err != nil {
			if ctx.Err() != nil {
				drain(device)
				return nil
			}
			return err
		}
	}
}

const (
	drainPause   = 30 * time.Millisecond  // after this pause all lines have been read
	drainTimeout = 400 * time.Millisecond // for a device that never pauses
)

// drain reads the lines that had arrived when ctx ended.
func drain(device instrument.Instrument) {
	all, cancel := context.WithTimeout(context.Background(), drainTimeout)
	defer cancel()
	for {
		one, cancel := context.WithTimeout(all, drainPause)
		_, err := device.Next(one)
		cancel()
		if err != nil {
			return
		}
	}
}

// query queries a meter, or reads the kernel's files, channel after channel, round after round.
func (p *device) query(ctx context.Context, device instrument.Instrument) error {
	for ctx.Err() == nil {
		w := p.wiring.Load()
		begun := time.Now()
		err := p.queryOnce(ctx, device, w)
		if ctx.Err() != nil {
			return nil
		}
		if err != nil {
			return err
		}
		select {
		case <-time.After(cmp.Or(w.every, p.profile.Interval()) - time.Since(begun)):
		case <-ctx.Done():
		}
	}
	return nil
}

// queryOnce queries every channel once.
func (p *device) queryOnce(ctx context.Context, device instrument.Instrument, w *wiring) error {
	if whole, ok := device.(instrument.Scanner); ok {
		return whole.Scan(ctx)
	}
	for _, c := range w.order {
		s, err := device.Measure(ctx, c.ID, c.Quantity)
		if err != nil {
			return err
		}
		if p.profile.Kind == profile.SCPI { // receive gets the samples of other kinds
			p.take(s.Time, []reading.Sample{s})
		}
	}
	return nil
}
