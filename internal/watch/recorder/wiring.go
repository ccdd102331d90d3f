package recorder

import (
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/watch/machine"
)

// wiring maps the channels of a probe to places of the run. It is replaced as a whole
// when the run file is read again.
type wiring struct {
	run      string
	every    time.Duration // from one query of all channels to the next; 0 = as the profile says
	channels map[key]*channel
	order    []*channel
}

// key identifies a value of a device.
type key struct {
	id       string
	quantity run.Quantity
}

// channel is one value of a probe and its state; guarded by Recorder.mu.
type channel struct {
	run.ProbeChannel
	probe *device
	meter run.Meter

	shared   *shared       // of the newest sample
	hasValue bool          // it has sent a value, possibly before the start
	last     time.Duration // when the newest value arrived, since boot …
	dated    time.Duration // … its date since boot, which no other value of the probe has …
	value    float64       // … and the value itself, SI
	unusable uint64
	quality  reading.Quality // of the newest sample
	faulty   bool            // the instrument reported a fault instead of the newest value
	interval sendInterval    // of lines that begin with this channel
}

// wire maps the channels of one probe that have a place in the run.
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

// copyState copies the state of the channels whose entries in the run file have not changed.
func (w *wiring) copyState(before *wiring) {
	for k, c := range w.channels {
		was := before.channels[k]
		if was != nil && w.run == before.run && c.ProbeChannel == was.ProbeChannel {
			c.hasValue, c.last, c.dated, c.value, c.unusable, c.quality, c.faulty, c.interval = was.hasValue, was.last, was.dated, was.value, was.unusable, was.quality, was.faulty, was.interval
		}
	}
}

// restoreLast sets the last values of a probe's channels from readings of before the start. Their
// ages follow from their dates; a date in the future counts as the start.
func (w *wiring) restoreLast(before []reading.Recorded, probe string, started machine.Stamp) {
	for _, b := range before {
		for _, c := range w.order {
			if b.Run == w.run && b.Probe == probe && b.Quantity == c.Quantity && b.From == c.From && b.To == c.To {
				c.hasValue, c.value = true, b.Value
				c.last = started.SinceBoot - max(started.Time.Sub(b.Time), 0)
			}
		}
	}
}

// setProbe sets the probe of all channels.
func (w *wiring) setProbe(p *device) {
	for _, c := range w.order {
		c.probe = p
	}
}

// qualityOf returns the quality of a sample without that of its step. A value that the meter
// cannot show has the quality Overload.
func qualityOf(s reading.Sample, c *channel) reading.Quality {
	if s.Quality.Measured() && !c.meter.Shows(c.Quantity, s.Value) {
		return s.Quality | reading.Overload
	}
	return s.Quality
}
