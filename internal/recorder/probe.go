package recorder

import (
	"context"
	"reflect"
	"sync"
	"sync/atomic"
	"time"

	"ohmkeep/internal/clock"
	"ohmkeep/internal/instrument"
	"ohmkeep/internal/profile"
	"ohmkeep/internal/run"
)

// probe is one device and the goroutine that reads it.
type probe struct {
	r       *Recorder
	name    string
	port    string
	profile *profile.Profile
	wiring  atomic.Pointer[wiring]
	totals  *totals

	cancel context.CancelFunc
	tried  chan struct{} // closed after the first try to open it
	ended  chan struct{} // closed when its goroutine has ended

	// All below is guarded by r.mu.
	state    state
	identity string
	why      string        // what was wrong last; "" while it is up
	changed  clock.Stamp   // when state changed
	heard    time.Duration // since boot, of the last line or, at first, of the opening
	latest   time.Duration // … and of the last line with values; every one has its own
	good     uint64        // lines with readings, since it was opened
	bad      uint64        // bad lines, since it was opened
	lastGood uint64        // as they were when look looked …
	lastBad  uint64
	looked   time.Duration
	silent   bool
	garbled  bool
}

// state is whether a probe can be heard.
type state int

const (
	untried state = iota
	down
	up
)

// totals are what a probe has done since the program began, however often it was
// unplugged and the run file read.
type totals struct{ stored, bad, skipped, unusable, lost uint64 }

func newProbe(r *Recorder, p run.Probe, device *profile.Profile) *probe {
	return &probe{r: r, name: p.Name, port: p.Port, profile: device, totals: r.totals(p.Name),
		tried: make(chan struct{}), ended: make(chan struct{})}
}

// same tells whether a probe of a run file is this one.
func (p *probe) same(its run.Probe, device *profile.Profile) bool {
	return p.name == its.Name && p.port == its.Port && reflect.DeepEqual(p.profile, device)
}

func (p *probe) use(w *wiring) {
	if before := p.wiring.Load(); before != nil {
		w.inherit(before)
	}
	w.adopt(p)
	p.wiring.Store(w)
}

func (p *probe) start(ctx context.Context) {
	ctx, p.cancel = context.WithCancel(ctx)
	p.r.alone.Add(1)
	go func() {
		defer p.r.alone.Done()
		defer close(p.ended)
		p.live(ctx)
	}()
}

func (p *probe) stop() { p.cancel() }

// Back-off between two tries to open a probe. A device that is back is heard
// within the longest; a try costs next to nothing.
const (
	firstPause   = 50 * time.Millisecond
	longestPause = 2 * time.Second
)

// live opens the probe, reads it, and opens it again, until ctx ends.
func (p *probe) live(ctx context.Context) {
	var once sync.Once
	defer once.Do(func() { close(p.tried) })
	for pause := firstPause; ctx.Err() == nil; {
		device, err := p.r.o.Open(ctx, p.profile, p.port, instrument.Options{Clock: p.now, Log: p.hear})
		if err == nil {
			p.isUp(device.Identity())
			once.Do(func() { close(p.tried) })
			err = p.read(ctx, device)
			if closing := device.Close(); err == nil {
				err = closing
			}
			if p.worked() {
				pause = firstPause
			}
		}
		if ctx.Err() != nil {
			return
		}
		p.isDown(err)
		once.Do(func() { close(p.tried) })
		select {
		case <-time.After(pause):
		case <-ctx.Done():
		}
		pause = min(2*pause, longestPause)
	}
}

// now is the clock that instruments are read by: the time since boot, which
// nobody sets, as if the machine had been started in 1970.
func (p *probe) now() time.Time { return time.Unix(0, int64(p.r.o.Clock.SinceBoot())) }

// read hears the device until it is gone or ctx ends.
func (p *probe) read(ctx context.Context, device instrument.Instrument) error {
	if p.profile.Kind == profile.SCPI {
		return p.ask(ctx, device)
	}
	for {
		// What a line holds comes through hear, all of it at once.
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
	breath  = 30 * time.Millisecond  // a pause after which nothing waits to be read
	longest = 400 * time.Millisecond // for a device that never pauses
)

// drain hears what had arrived when the program was told to end.
func drain(device instrument.Instrument) {
	all, cancel := context.WithTimeout(context.Background(), longest)
	defer cancel()
	for {
		one, cancel := context.WithTimeout(all, breath)
		_, err := device.Next(one)
		cancel()
		if err != nil {
			return
		}
	}
}

// ask asks a meter for its channels by turns.
func (p *probe) ask(ctx context.Context, device instrument.Instrument) error {
	for ctx.Err() == nil {
		w := p.wiring.Load()
		begun := time.Now()
		for _, c := range w.order {
			s, err := device.Measure(ctx, c.ID, c.Quantity)
			if ctx.Err() != nil {
				return nil
			}
			if err != nil {
				return err
			}
			p.take(s.Time, []instrument.Sample{s})
		}
		select {
		case <-time.After(w.every - time.Since(begun)):
		case <-ctx.Done():
		}
	}
	return nil
}
