package recorder

import (
	"strings"
	"time"

	"ohmkeep/internal/clock"
	"ohmkeep/internal/instrument"
	"ohmkeep/internal/run"
)

// wiring ties what a probe says to places of the run. It is replaced as a whole
// when the run file is read anew.
type wiring struct {
	run      string
	every    time.Duration // between two rounds of a device that is asked
	channels map[key]*channel
	order    []*channel
}

// key is what a device calls a value.
type key struct {
	id       string
	quantity run.Quantity
}

// channel is one value of a probe, and how it fares; guarded by Recorder.mu.
type channel struct {
	run.ProbeChannel
	probe *probe
	meter run.Meter

	heard    bool          // that it ever gave a value
	last     time.Duration // since boot, of the newest value …
	lastTime clock.Stamp
	value    float64 // … and the value itself, SI
	unusable uint64
	why      Quality // of the newest sample
}

// wire ties the channels of one probe that have their place in the run.
func wire(r *run.Run, i int) *wiring {
	p := r.Probes[i]
	w := &wiring{run: r.Name, every: time.Duration(p.Every * float64(time.Second)), channels: map[key]*channel{}}
	for _, c := range p.Channels {
		if c.From == "" {
			continue
		}
		one := &channel{ProbeChannel: c, meter: r.Meters[p.Meter]}
		w.channels[key{c.ID, c.Quantity}] = one
		w.order = append(w.order, one)
	}
	return w
}

// inherit takes over how the channels fared that measure the same as before.
func (w *wiring) inherit(before *wiring) {
	for k, c := range w.channels {
		was := before.channels[k]
		if was != nil && w.run == before.run && c.ProbeChannel == was.ProbeChannel {
			c.heard, c.last, c.lastTime, c.value, c.unusable, c.why = was.heard, was.last, was.lastTime, was.value, was.unusable, was.why
		}
	}
}

func (w *wiring) adopt(p *probe) {
	for _, c := range w.order {
		c.probe = p
	}
}

// worth tells what a sample is worth, its step aside.
func worth(s instrument.Sample, c *channel) Quality {
	switch {
	case strings.HasPrefix(s.Fault, "saturated"):
		return Saturated
	case strings.Contains(s.Fault, "overload"):
		return Overload
	case !s.Good():
		return Faulty
	case !c.meter.Shows(c.Quantity, s.Value):
		return Overload
	}
	return Good
}
