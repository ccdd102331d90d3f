package recorder

import (
	"context"
	"os"
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

// hear is told every line of the device as it comes.
func (p *probe) hear(e instrument.Event) {
	switch e.Kind {
	case instrument.Spoke:
		p.take(e.Time, e.Samples)
	case instrument.Bad:
		p.r.mu.Lock()
		p.bad++
		p.totals.bad++
		p.heard = time.Duration(e.Time.UnixNano())
		p.r.mu.Unlock()
	case instrument.Skipped:
		p.r.mu.Lock()
		p.totals.skipped++
		p.r.mu.Unlock()
	}
}

// take queues what one line or answer holds.
func (p *probe) take(at time.Time, samples []instrument.Sample) {
	w := p.wiring.Load()
	since := time.Duration(at.UnixNano())
	r := p.r
	r.mu.Lock()
	defer r.mu.Unlock()
	p.heard = since
	// Whole milliseconds are stored in few bytes. Lines of the same one stay in
	// their order, and all stay.
	date := since.Truncate(time.Millisecond)
	if date <= p.latest {
		date = p.latest + time.Microsecond
	}
	p.latest = date
	placed := false
	for _, s := range samples {
		if c := w.channels[key{s.Channel, s.Quantity}]; c != nil {
			placed = true
			r.take(w, c, s, since, date)
		}
	}
	if !placed { // it names nothing that the run file knows
		p.bad++
		p.totals.bad++
		return
	}
	p.good++
}

// take queues one sample of a channel that came at a moment and is stored for another.
func (r *Recorder) take(w *wiring, c *channel, s instrument.Sample, since, date time.Duration) {
	e := entry{channel: c, run: w.run, text: s.Text, unit: s.Unit, raw: s.Raw, value: s.Value, stamp: r.o.Clock.At(date)}
	e.step, e.quality = r.steps.at(since)
	if q := worth(s, c); !q.Measured() {
		e.quality = q
		c.unusable, c.why = c.unusable+1, q
		c.probe.totals.unusable++
	} else {
		c.why = Good
		c.last, c.value, c.lastTime, c.heard = since, s.Value, e.stamp, true
	}
	if r.queue.add(e) {
		r.nudge()
	}
}

// isUp notes that the probe was opened.
func (p *probe) isUp(identity string) {
	p.r.mu.Lock()
	defer p.r.mu.Unlock()
	now := p.r.o.Clock.Now()
	if p.state == down {
		p.r.mark(now, Found, p.name, "")
		p.r.o.Log.Info("probe is back", "probe", p.name, "port", p.port, "after", (now.SinceBoot - p.changed.SinceBoot).Round(time.Second))
	} else {
		p.r.o.Log.Info("probe is open", "probe", p.name, "port", p.port, "identity", identity)
	}
	p.state, p.changed, p.why, p.identity = up, now, "", identity
	p.good, p.bad, p.lastGood, p.lastBad = 0, 0, 0, 0
	p.heard, p.looked = now.SinceBoot, now.SinceBoot
}

// isDown notes that the probe could not be opened or is gone.
func (p *probe) isDown(err error) {
	if err == nil {
		err = os.ErrClosed
	}
	p.r.mu.Lock()
	defer p.r.mu.Unlock()
	p.why = err.Error()
	if p.state == down {
		return
	}
	now := p.r.o.Clock.Now()
	p.r.mark(now, Lost, p.name, p.why)
	p.r.o.Log.Warn("probe is gone", "probe", p.name, "port", p.port, "why", err)
	p.totals.lost++
	p.state, p.changed, p.silent, p.garbled = down, now, false, false
}

// worked tells whether the probe said something usable since it was opened.
func (p *probe) worked() bool {
	p.r.mu.Lock()
	defer p.r.mu.Unlock()
	return p.good > 0
}

const (
	// quiet is how long a probe that is open may say nothing.
	quiet = 5 * time.Minute
	// span is how long lines are compared before their form is judged.
	span = 10 * time.Second
)

// look notices silence and nonsense; r.mu is held.
func (p *probe) look(now time.Duration) {
	if p.state != up {
		return
	}
	log := p.r.o.Log.With("probe", p.name)
	if silent := now-p.heard >= quiet; silent != p.silent {
		p.silent = silent
		if silent {
			log.Warn("probe is silent", "for", quiet)
		} else {
			log.Info("probe speaks again")
		}
	}
	if now-p.looked < span {
		return
	}
	good, bad := p.good-p.lastGood, p.bad-p.lastBad
	p.lastGood, p.lastBad, p.looked = p.good, p.bad, now
	switch {
	case !p.garbled && bad > good:
		p.garbled = true
		log.Warn("most of what the probe says is not understood", "bad lines", bad, "good lines", good, "in", span)
	case p.garbled && good > bad:
		p.garbled = false
		log.Info("the probe is understood again")
	}
}
