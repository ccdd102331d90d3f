package series

import (
	"math"
	"slices"

	"ohmkeep/internal/run"
	"ohmkeep/internal/trend"
)

const (
	// leastAmps is the current below which a drop tells nothing of a resistance.
	leastAmps = 0.02
	// fewest is how many rounds a slope needs.
	fewest = 6
	// rounding is the standard deviation of one count: 1/√12 for the rounding and 0.3 for
	// a last digit that wanders (common practice, no source).
	rounding = 0.42
	// assumedCount stands for a meter whose resolution is not stated, V (an INA226's bus
	// count; SBOS547, June 2011, table 1).
	assumedCount = 1.25e-3
	// wild is the rise of a drop beyond which a reading is wrong rather than a contact
	// bad, as a part of the volts.
	wild = 0.5
	// leastBurst is the least rise of a contact that counts as a burst, Ω; burstWire the
	// part of the wire that comes to it, and burstCold that where no temperature is read,
	// for what a day's warming does.
	leastBurst = 0.005
	burstWire  = 0.03
	burstCold  = 0.15
)

// sample is what one round tells of one element.
type sample struct {
	at   int64
	drop float64 // V
	amps float64 // A, through the element were the load spread as in the usual step
	most float64 // A, the greatest current that any animation can send through
}

// nights makes the nights of a day's rounds.
func (d *Reader) nights(day int64, c *collector) []Night {
	steps := d.recognise(c.scans)
	for i := range c.scans {
		c.scans[i].dark = d.dark(&c.scans[i])
	}
	var out []Night
	for i := range d.elements {
		e := &d.elements[i]
		u, v := d.slot(e.From), d.slot(e.To)
		if e.feed >= 0 {
			if n, ok := d.slope(e, day, c, u, v); ok {
				out = append(out, n)
			}
		}
		shown := map[int]bool{}
		for _, k := range steps {
			if k >= 0 && !shown[k] {
				shown[k] = true
				if n, ok := d.inStep(e, day, c, steps, k, u, v); ok {
					out = append(out, n)
				}
			}
		}
	}
	return out
}

// at gives a value of a round, NaN where it has none.
func at(v []float64, i int) float64 {
	if i < 0 || i >= len(v) {
		return nothing
	}
	return v[i]
}

// degrees gives the temperature of an element in a round: of its own feeds and reels
// where they are read, else of all that are, else the run's ambient.
func (d *Reader) degrees(e *Element, s *scan) (celsius float64, known bool) {
	r := d.run
	var sum, all float64
	var n, m int
	take := func(i int) {
		if t := s.warmth[i]; t == t {
			sum += t
			n++
		}
	}
	for _, x := range e.edges {
		switch {
		case x.feed >= 0:
			take(x.feed)
		case x.reel >= 0:
			take(len(r.Feeds) + x.reel)
		default:
			take(len(r.Feeds) + r.Joints[x.joint].From)
			take(len(r.Feeds) + r.Joints[x.joint].To)
		}
	}
	if n > 0 {
		return sum / float64(n), true
	}
	for _, t := range s.warmth {
		if t == t {
			all += t
			m++
		}
	}
	if m > 0 {
		return all / float64(m), true
	}
	return r.Ambient, false
}

// full gives the currents of a round with those that were measured at all; false
// where one of them is missing.
func (d *Reader) full(s *scan) bool {
	for i, m := range d.measured {
		if m && math.IsNaN(at(s.amps, i)) {
			return false
		}
	}
	return len(s.amps) > 0
}

// accuracy gives the meter's range that holds a value at a slot of a round.
func (c *collector) accuracy(s *scan, q run.Quantity, slot int, value float64) (run.Range, bool) {
	at := 2 * slot
	if q == run.Current {
		at++
	}
	if at >= len(s.meters) || s.meters[at] < 0 {
		return run.Range{}, false
	}
	m := c.run.MeterIndex(c.meters[s.meters[at]])
	if m < 0 {
		return run.Range{}, false
	}
	meter := c.run.Meters[m]
	g := meter.Range(q, value)
	if g < 0 {
		return run.Range{}, false
	}
	return meter.Ranges[g], true
}

// dropErrors gives the standard deviations of a drop between two places: of one round,
// and what all have in common. What is read for months is read by a sensor of its own
// at every place, whatever the meter's description says.
func (c *collector) dropErrors(s *scan, u, v int) (once, common float64) {
	a, b := at(s.volts, u), at(s.volts, v)
	g, ok := c.accuracy(s, run.Voltage, u, a)
	h, ok2 := c.accuracy(s, run.Voltage, v, b)
	if !ok || !ok2 {
		return math.Sqrt2 * rounding * assumedCount, math.Abs(a) * 0.005
	}
	once = rounding * math.Hypot(g.Resolution, h.Resolution)
	common = math.Hypot(g.Fraction*a+g.Counts*g.Resolution, h.Fraction*b+h.Counts*h.Resolution) / math.Sqrt(3)
	return max(once, 1e-6), common
}

// names gives the meters of an element's sensors, which end a stretch when they change.
func (c *collector) names(s *scan, slots ...int) string {
	name := ""
	for _, at := range slots {
		if at < len(s.meters) && s.meters[at] >= 0 {
			name += c.meters[s.meters[at]]
		}
		name += "|"
	}
	return name
}

// slope follows a feed by how its drop grows with its current.
func (d *Reader) slope(e *Element, day int64, c *collector, u, v int) (Night, bool) {
	f := d.run.Feeds[e.feed]
	way := 1.0
	if e.edges[0].a != f.From {
		way = -1
	}
	n := Night{Key: Key{Kind: e.Kind, Name: e.Name}, Element: e, Day: day, Drop: nothing, Offset: nothing, Wobble: nothing}
	var x, y []float64
	var times []int64
	var once float64
	warm := 0
	for i := range c.scans {
		s := &c.scans[i]
		drop, amps := way*(at(s.volts, u)-at(s.volts, v)), at(s.amps, e.feed)
		if drop != drop || amps != amps || math.Abs(drop) > wild*math.Abs(at(s.volts, u)) {
			continue
		}
		celsius, known := d.degrees(e, s)
		if known {
			warm++
		}
		if len(x) == 0 {
			once, _ = c.dropErrors(s, u, v)
			n.Meters = c.names(s, 2*u, 2*v, 2*e.feed+1)
		}
		x = append(x, amps)
		y = append(y, drop-e.Wire*f.TempCo*(celsius-20)*amps)
		times = append(times, s.at)
	}
	if len(x) < fewest {
		return n, false
	}
	fit := trend.Robust(x, y, once)
	if math.IsInf(fit.SlopeError, 1) {
		return n, false
	}
	n.At = times[len(times)/2] / 1e9
	n.Samples = len(x)
	// The gains of both voltage sensors and of the current's scale the slope.
	mid := &c.scans[len(c.scans)/2]
	shift := 0.0
	if g, ok := c.accuracy(mid, run.Current, e.feed, slices.Max(x)); ok {
		shift = g.Fraction
	}
	if g, ok := c.accuracy(mid, run.Voltage, u, at(mid.volts, u)); ok {
		shift = math.Hypot(shift, 1.5*g.Fraction)
	}
	n.Value = Value{fit.Slope, max(fit.SlopeError, once/4/spread(x)), shift / math.Sqrt(3) * math.Abs(fit.Slope), 2*warm > len(x)}
	n.Valid = n.Value.Error < max(0.02, 0.2*e.Nominal)
	n.Offset, n.Wobble = fit.Intercept, fit.InterceptError
	scale := max(fit.Scale, once)
	least := leastBurst + burstWire*e.Wire
	if !n.Value.Warm {
		least += burstCold * e.Wire
	}
	var rises []float64
	for i := range x {
		rise := y[i] - fit.At(x[i])
		if rise > max(6*scale, least*math.Abs(x[i])) && x[i] > leastAmps {
			n.burst(times[i])
			rises = append(rises, rise/x[i])
		}
	}
	n.Burst = trend.Median(rises)
	return n, true
}

// spread is how far values reach, from end to end.
func spread(x []float64) float64 { return max(slices.Max(x)-slices.Min(x), leastAmps) }

func (n *Night) burst(at int64) {
	if n.Bursts == 0 {
		n.First = at / 1e9
	}
	n.Bursts++
}

// inStep follows an element in a known step.
func (d *Reader) inStep(e *Element, day int64, c *collector, steps []int, k, u, v int) (Night, bool) {
	m := &e.steps[k]
	n := Night{Key: Key{e.Kind, e.Name, d.run.Steps[k].Name}, Element: e, Day: day, Offset: nothing, Wobble: nothing}
	var ohms, drops, amps, errors []float64
	var times []int64
	warm := 0
	common := 0.0
	if !m.known {
		return n, false
	}
	for i := range c.scans {
		s := &c.scans[i]
		drop := at(s.volts, u) - at(s.volts, v)
		if steps[i] != k || drop != drop || !d.full(s) {
			continue
		}
		through := m.through.of(s.amps)
		if math.Abs(through) < leastAmps {
			continue
		}
		celsius, known := d.degrees(e, s)
		if known {
			warm++
		}
		expected := m.expected(s.amps, celsius)
		one, all := c.dropErrors(s, u, v)
		if len(ohms) == 0 {
			slots := []int{2 * u, 2 * v}
			for f, is := range d.measured {
				if is {
					slots = append(slots, 2*f+1)
				}
			}
			n.Meters = c.names(s, slots...)
			common = all
		}
		ohms = append(ohms, e.Nominal+(drop-expected)/through)
		drops = append(drops, drop-expected)
		amps = append(amps, through)
		errors = append(errors, one/math.Abs(through))
		times = append(times, s.at)
	}
	if len(ohms) == 0 {
		return n, false
	}
	n.At = times[len(times)/2] / 1e9
	n.Drop, n.Amps = trend.Median(drops), trend.Median(amps)
	n.Value = Value{trend.Median(ohms), trend.Median(errors) / math.Sqrt(min(4, float64(len(ohms)))),
		common / math.Abs(n.Amps), 2*warm > len(ohms)}
	n.Valid = true
	d.offset(e, c, u, v, &n)
	if e.joints == 1 && len(e.edges) == 1 {
		d.animated(e, c, steps, u, v, &n)
	}
	var rises []float64
	for i, o := range ohms {
		n.Samples++
		if rise := o - n.Value.Ohms; rise > max(8*errors[i], leastBurst) && rise*math.Abs(amps[i]) < wild*d.run.Supplies[0].Volts {
			n.burst(times[i])
			rises = append(rises, rise)
		}
	}
	if len(rises) > 0 {
		n.Burst = trend.Median(rises)
	}
	return n, true
}
