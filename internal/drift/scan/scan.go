// Package scan groups readings into scans. A scan holds the values of all sensors of a run at one
// moment, or during one known step.
package scan

import (
	"math"
	"slices"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

const (
	// maxScanTime is the longest duration of a scan over all sensors during an animation. Later
	// values belong to another scan.
	maxScanTime = 5 * time.Second
	// maxScanPause is the longest pause between two readings of one scan in a known step, during which
	// the load does not change.
	maxScanPause = time.Minute
	// temperatureTime is the time for which a temperature applies to later readings.
	temperatureTime = 3 * time.Hour
)

// channel is one quantity that is read.
type channel struct {
	quantity run.Quantity
	from, to string
	place    int     // voltage: index of the sensed place; -1 = not the pair of one place
	feed     int     // current, or temperature of a feed; -1 otherwise
	reel     int     // temperature; -1 otherwise
	sign     float64 // voltage: −1 where it was read minus against plus
	next     int     // channel that followed last time; tried first
}

// Scan holds one value of each sensor.
type Scan struct {
	At      int64 // ns since 1970, of its first reading
	Step    int   // of the run; -1 = not known
	Volts   []float64
	Amps    []float64
	Celsius []float64 // °C by feed, then by reel; NaN = not known
	Dark    bool      // all pixels are dark
	Meters  []int     // numbers of the meters, see Collector.meters: of place k at 2k, of feed k at 2k + 1

	number int // among the scans of its step, from 0
}

// Collector sorts readings into scans. It holds a bounded number of them: where a day has
// more scans, it thins them evenly.
type Collector struct {
	run      *run.Run
	channels []channel
	index    map[channelKey]int
	last     int
	Places   []run.Place
	meters   []meter // by the numbers in a Scan
	steps    map[string]int
	// Which places and feeds' currents were read at all, by index.
	ReadPlaces, ReadFeeds []bool

	Scans     []Scan
	thinned   []thinning  // by step + 1
	free      [][]float64 // memory of dropped scans
	current   Scan
	started   bool
	latest    int64
	celsius   []float64 // °C by feed, then by reel; NaN = not read
	celsiusAt []int64   // when, ns since 1970
	spare     []float64
}

// NewCollector returns a Collector whose first places are the given ones. Further places are
// appended as they are read.
func NewCollector(r *run.Run, places []run.Place) *Collector {
	c := &Collector{run: r, index: map[channelKey]int{}, Places: append([]run.Place{}, places...), last: -1,
		steps: map[string]int{}}
	n := len(r.Feeds) + len(r.Reels)
	c.celsius, c.celsiusAt = c.blank(n), make([]int64, n)
	c.ReadPlaces, c.ReadFeeds = make([]bool, len(places)), make([]bool, len(r.Feeds))
	c.thinned = make([]thinning, len(r.Steps)+1)
	for i, s := range r.Steps {
		c.steps[s.Name] = i
	}
	return c
}

// channel returns the channel of a reading. Readings come in scans, so it tries the channel that
// followed last time first.
func (c *Collector) channel(x *reading.Reading) int {
	if c.last >= 0 {
		if n := c.channels[c.last].next; n >= 0 {
			if ch := &c.channels[n]; ch.quantity == x.Quantity && ch.from == x.From && ch.to == x.To {
				c.last = n
				return n
			}
		}
	}
	key := channelKey{x.Quantity, x.From, x.To}
	n, known := c.index[key]
	if !known {
		n = len(c.channels)
		c.index[key] = n
		c.channels = append(c.channels, c.describe(key))
	}
	if c.last >= 0 {
		c.channels[c.last].next = n
	}
	c.last = n
	return n
}

// Add takes readings in the order of time.
func (c *Collector) Add(x *reading.Reading) {
	ch := c.channels[c.channel(x)]
	at := x.Time.UnixNano()
	if ch.quantity == run.Temperature {
		c.setTemperature(ch, at, x.Value)
		return
	}
	slot, read := ch.place, c.ReadPlaces
	if ch.quantity == run.Current {
		slot, read = ch.feed, c.ReadFeeds
	}
	if slot < 0 {
		return
	}
	read[slot] = true
	step := -1
	if x.Step != "" {
		if k, ok := c.steps[x.Step]; ok {
			step = k
		}
	}
	if !c.started || !c.belongs(at, step, ch.quantity, slot) {
		c.Finish()
		c.begin(at, step)
	}
	into := &c.current.Volts
	if ch.quantity == run.Current {
		into = &c.current.Amps
	}
	for slot >= len(*into) {
		*into = append(*into, math.NaN())
	}
	if math.IsNaN((*into)[slot]) { // a second value of the same moment is a repeat
		(*into)[slot] = ch.sign * c.corrected(x)
		c.setMeter(ch.quantity, slot, c.meterOf(x))
	}
	c.latest = at
}

// belongs reports whether a reading is part of the current scan.
func (c *Collector) belongs(at int64, step int, q run.Quantity, slot int) bool {
	if step != c.current.Step {
		return false
	}
	if step < 0 && at-c.current.At > int64(maxScanTime) || at-c.latest > int64(maxScanPause) {
		return false
	}
	have := c.current.Volts
	if q == run.Current {
		have = c.current.Amps
	}
	return at == c.latest || slot >= len(have) || math.IsNaN(have[slot])
}

func (c *Collector) begin(at int64, step int) {
	c.started = true
	c.current = Scan{At: at, Step: step, Volts: c.blank(len(c.Places)), Amps: c.blank(len(c.run.Feeds)),
		Meters: make([]int, 0)}
	if n := len(c.Scans); n > 0 {
		c.current.Meters = c.Scans[n-1].Meters // until one differs
	}
}

// Finish ends the current scan.
func (c *Collector) Finish() {
	if !c.started {
		return
	}
	c.started = false
	if !c.counted() {
		c.recycle(&c.current)
		return
	}
	c.current.Celsius = c.degrees()
	c.Scans = append(c.Scans, c.current)
	c.limit(c.current.Step)
}

// degrees returns the temperatures of the current scan. Scans share them until one differs.
func (c *Collector) degrees() []float64 {
	now := c.blank(len(c.celsius))
	for i, degrees := range c.celsius {
		if c.current.At-c.celsiusAt[i] <= int64(temperatureTime) {
			now[i] = degrees
		}
	}
	if n := len(c.Scans); n > 0 && slices.EqualFunc(now, c.Scans[n-1].Celsius, func(a, b float64) bool { return a == b || a != a && b != b }) {
		c.free = append(c.free, now)
		return c.Scans[n-1].Celsius
	}
	return now
}

// setTemperature records a temperature of a feed or a reel.
func (c *Collector) setTemperature(ch channel, at int64, degrees float64) {
	i := ch.feed
	if i < 0 && ch.reel >= 0 {
		i = len(c.run.Feeds) + ch.reel
	}
	if i >= 0 {
		c.celsius[i], c.celsiusAt[i] = degrees, at
	}
}
