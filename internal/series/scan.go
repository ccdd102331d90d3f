package series

import (
	"math"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

const (
	// together is how long one round over all sensors may take while an animation
	// runs; later values belong to another picture.
	together = 5 * time.Second
	// steady is the longest pause between two readings of one round in a known step,
	// which does not change meanwhile.
	steady = time.Minute
	// lasting is how long a temperature holds for the readings after it.
	lasting = 3 * time.Hour
)

// channel is one thing that is read, by its index.
type channel struct {
	quantity run.Quantity
	from, to string
	place    int     // voltage: index of the sensed place; -1 = not the pair of one place
	feed     int     // current, or temperature of a feed; -1 otherwise
	reel     int     // temperature; -1 otherwise
	sign     float64 // voltage: −1 where it was read minus against plus
	next     int     // channel that followed last time, a guess
}

// scan is one round over the sensors.
type scan struct {
	at     int64 // ns since 1970, of its first reading
	step   int   // of the run; -1 = not known
	volts  []float64
	amps   []float64
	warmth []float64 // °C by feed, then by reel; NaN = not known
	dark   bool      // all pixels are dark
	meters []int     // which meter read it: of place k at 2k, of feed k at 2k + 1
}

// collector sorts readings into scans.
type collector struct {
	run      *run.Run
	channels []channel
	index    map[channelKey]int
	last     int
	places   []run.Place
	meters   []string
	steps    map[string]int

	scans   []scan
	open    scan
	started bool
	latest  int64
	warmth  []float64 // °C by feed, then by reel; NaN = not read
	warmed  []int64   // when, ns since 1970
	spare   []float64
}

type channelKey struct {
	quantity run.Quantity
	from, to string
}

func newCollector(r *run.Run, places []run.Place) *collector {
	c := &collector{run: r, index: map[channelKey]int{}, places: append([]run.Place{}, places...), last: -1,
		steps: map[string]int{}}
	n := len(r.Feeds) + len(r.Reels)
	c.warmth, c.warmed = c.blank(n), make([]int64, n)
	for i, s := range r.Steps {
		c.steps[s.Name] = i
	}
	return c
}

// channel finds what a reading reads; readings come in rounds, so the channel that
// followed last time is tried first.
func (c *collector) channel(x *reading.Reading) int {
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

// describe finds out what a channel is. Names that the run does not know are of
// readings of another time; they are passed over.
func (c *collector) describe(key channelKey) channel {
	ch := channel{quantity: key.quantity, from: key.from, to: key.to, place: -1, feed: -1, reel: -1, sign: 1, next: -1}
	switch key.quantity {
	case run.Voltage:
		from, err1 := c.run.Point(key.from)
		to, err2 := c.run.Point(key.to)
		if err1 != nil || err2 != nil || from.Place != to.Place || from.Rail == to.Rail {
			return ch
		}
		if from.Rail == run.Minus {
			ch.sign = -1
		}
		ch.place = c.place(from.Place)
	case run.Current:
		ch.feed = c.run.FeedIndex(key.from)
	case run.Temperature:
		ch.feed, ch.reel = c.run.FeedIndex(key.from), c.run.ReelIndex(key.from)
	}
	return ch
}

func (c *collector) place(p run.Place) int {
	for i, known := range c.places {
		if known == p {
			return i
		}
	}
	c.places = append(c.places, p)
	return len(c.places) - 1
}

// add takes readings in the order of time.
func (c *collector) add(x *reading.Reading) {
	ch := c.channels[c.channel(x)]
	at := x.Time.UnixNano()
	if ch.quantity == run.Temperature {
		c.warm(ch, at, x.Value)
		return
	}
	slot := ch.place
	if ch.quantity == run.Current {
		slot = ch.feed
	}
	if slot < 0 {
		return
	}
	step := -1
	if x.Step != "" {
		if k, ok := c.steps[x.Step]; ok {
			step = k
		}
	}
	if !c.started || !c.belongs(at, step, ch.quantity, slot) {
		c.finish()
		c.begin(at, step)
	}
	into := &c.open.volts
	if ch.quantity == run.Current {
		into = &c.open.amps
	}
	for slot >= len(*into) {
		*into = append(*into, math.NaN())
	}
	if math.IsNaN((*into)[slot]) { // a second value of the same moment is a repeat
		(*into)[slot] = ch.sign * x.Value
		c.meter(ch.quantity, slot, x.Meter)
	}
	c.latest = at
}

// belongs tells whether a reading is of the round that is open.
func (c *collector) belongs(at int64, step int, q run.Quantity, slot int) bool {
	if step != c.open.step {
		return false
	}
	if step < 0 && at-c.open.at > int64(together) || at-c.latest > int64(steady) {
		return false
	}
	have := c.open.volts
	if q == run.Current {
		have = c.open.amps
	}
	return at == c.latest || slot >= len(have) || math.IsNaN(have[slot])
}

func (c *collector) begin(at int64, step int) {
	c.started = true
	c.open = scan{at: at, step: step, volts: c.blank(len(c.places)), amps: c.blank(len(c.run.Feeds)),
		meters: make([]int, 0)}
	if n := len(c.scans); n > 0 {
		c.open.meters = c.scans[n-1].meters // until one differs
	}
}

// blank takes n unknown values from a stock, which spares the collector of garbage.
func (c *collector) blank(n int) []float64 {
	if len(c.spare) < n {
		c.spare = make([]float64, 4096+n)
		for i := range c.spare {
			c.spare[i] = math.NaN()
		}
	}
	v := c.spare[:n:n]
	c.spare = c.spare[n:]
	return v
}

func (c *collector) finish() {
	if !c.started {
		return
	}
	c.open.warmth = c.blank(len(c.warmth))
	for i, degrees := range c.warmth {
		if c.open.at-c.warmed[i] <= int64(lasting) {
			c.open.warmth[i] = degrees
		}
	}
	c.scans = append(c.scans, c.open)
	c.started = false
}

// warm notes a temperature of a feed or a reel.
func (c *collector) warm(ch channel, at int64, degrees float64) {
	i := ch.feed
	if i < 0 && ch.reel >= 0 {
		i = len(c.run.Feeds) + ch.reel
	}
	if i >= 0 {
		c.warmth[i], c.warmed[i] = degrees, at
	}
}

// meter notes which meter read a place or feed. Scans share the note until it changes.
func (c *collector) meter(q run.Quantity, slot int, name string) {
	at := 2 * slot
	if q == run.Current {
		at++
	}
	id := -1
	for i, known := range c.meters {
		if known == name {
			id = i
		}
	}
	if id < 0 {
		c.meters = append(c.meters, name)
		id = len(c.meters) - 1
	}
	if at < len(c.open.meters) && c.open.meters[at] == id {
		return
	}
	own := append([]int{}, c.open.meters...)
	for len(own) <= at {
		own = append(own, -1)
	}
	own[at] = id
	c.open.meters = own
}
