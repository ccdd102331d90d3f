package nightly

import (
	"math"
	"slices"

	"ohmkeep/internal/drift/elements"
	"ohmkeep/internal/drift/scan"
	"ohmkeep/internal/numeric/trend"
	"ohmkeep/internal/run"
)

const (
	// leastAmps is the current, A, below which a drop does not give a resistance.
	leastAmps = 0.02
	// minScans is the least number of scans from which a slope is computed.
	minScans = 6
	// maxDropPart is the greatest drop, or rise of a drop, as a part of the voltage before it. Above it
	// a reading is wrong, not a contact bad.
	maxDropPart = 0.5
	// burstSigmas is the least deviation of a scan with a failed contact, in standard deviations
	// of its noise. The noise of a day is known within a third.
	burstSigmas = 8
	// leastBurst is the least rise of a contact that counts as a burst, Ω. burstWire is the part of
	// the wire's resistance that is added to it; burstCold applies where no temperature is read, for
	// the warming over a day.
	leastBurst = 0.005
	burstWire  = 0.03
	burstCold  = 0.15
)

// sample holds the values of one element in one scan.
type sample struct {
	at   int64
	drop float64 // V
	amps float64 // A, through the element if the load is distributed as in the brightest step
	most float64 // A, the greatest current through it in any animation
}

// nights evaluates a day's scans.
func (d *Reader) nights(day int64, c *scan.Collector) []Night {
	steps := d.recognise(c.Scans)
	for i := range c.Scans {
		c.Scans[i].Dark = d.dark(&c.Scans[i])
	}
	rough := make([]float64, len(d.run.Steps))
	for k := range rough {
		rough[k] = d.noiseRatio(c, steps, k)
	}
	var out []Night
	for i := range d.elements {
		e := &d.elements[i]
		u, v := d.slot(e.From), d.slot(e.To)
		if e.Feed >= 0 {
			if n, ok := d.slope(e, day, c, u, v); ok {
				out = append(out, n)
			}
		}
		shown := map[int]bool{}
		for _, k := range steps {
			if k >= 0 && !shown[k] {
				shown[k] = true
				if n, ok := d.inStep(e, day, c, steps, k, u, v, rough[k]); ok {
					out = append(out, n)
				}
			}
		}
	}
	return out
}

// degrees returns the temperature of an element in a scan: of its own feeds and reels
// where they are read, else of all that are, else the run's ambient.
func (d *Reader) degrees(e *elements.Element, s *scan.Scan) (celsius float64, known bool) {
	r := d.run
	var sum, all float64
	var n, m int
	take := func(i int) {
		if t := s.Celsius[i]; t == t {
			sum += t
			n++
		}
	}
	for _, i := range e.TemperatureSources(r) {
		take(i)
	}
	if n > 0 {
		return sum / float64(n), true
	}
	for _, t := range s.Celsius {
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

// hasAllCurrents reports whether a scan has the currents of all measured feeds.
func (d *Reader) hasAllCurrents(s *scan.Scan) bool {
	for i, m := range d.measured {
		if m && math.IsNaN(scan.At(s.Amps, i)) {
			return false
		}
	}
	return len(s.Amps) > 0
}

// slope computes a feed's resistance as the slope of its drop over its current.
func (d *Reader) slope(e *elements.Element, day int64, c *scan.Collector, u, v int) (Night, bool) {
	f := d.run.Feeds[e.Feed]
	way := e.Sign(f)
	n := Night{Key: Key{Kind: e.Kind, Name: e.Name}, Element: e, Day: day, Drop: unknown, Offset: unknown, OffsetError: unknown}
	var x, y []float64
	var times []int64
	var once float64
	warm := 0
	for i := range c.Scans {
		s := &c.Scans[i]
		drop, amps := way*(scan.At(s.Volts, u)-scan.At(s.Volts, v)), scan.At(s.Amps, e.Feed)
		if drop != drop || amps != amps || math.Abs(drop) > maxDropPart*math.Abs(scan.At(s.Volts, u)) {
			continue
		}
		celsius, known := d.degrees(e, s)
		if known {
			warm++
		}
		if len(x) == 0 {
			once, _ = c.DropErrors(s, u, v)
			n.Meters = c.Names(s, 2*u, 2*v, 2*e.Feed+1)
		}
		x = append(x, amps)
		y = append(y, drop-e.Wire*f.TempCo*(celsius-20)*amps)
		times = append(times, s.At)
	}
	if len(x) < minScans {
		return n, false
	}
	fit, noise := line(x, y, once)
	if math.IsInf(fit.SlopeError, 1) {
		return n, false
	}
	n.At = times[len(times)/2] / 1e9
	n.Samples = len(x)
	// The gain errors of both voltage sensors and of the current sensor scale the slope.
	mid := &c.Scans[len(c.Scans)/2]
	shift := 0.0
	if g, ok := c.Accuracy(mid, run.Current, e.Feed, slices.Max(x)); ok {
		shift = g.Fraction
	}
	if g, ok := c.Accuracy(mid, run.Voltage, u, scan.At(mid.Volts, u)); ok {
		shift = math.Hypot(shift, 1.5*g.Fraction)
	}
	n.Value = Value{fit.Slope, max(fit.SlopeError, once/4/spread(x)), shift / math.Sqrt(3) * math.Abs(fit.Slope), 2*warm > len(x)}
	n.Valid = n.Value.Error < max(0.02, 0.2*e.Nominal)
	n.Offset, n.OffsetError = fit.Intercept, fit.InterceptError
	least := leastBurst + burstWire*e.Wire
	if !n.Value.TemperatureRead {
		least += burstCold * e.Wire
	}
	var rises []float64
	for i := range x {
		rise := y[i] - fit.At(x[i])
		if rise > max(burstSigmas*noise.at(x[i]), least*math.Abs(x[i])) && x[i] > leastAmps {
			n.burst(times[i])
			rises = append(rises, rise/x[i])
		}
	}
	n.BurstRise = trend.Median(rises)
	return n, true
}

// spread is the range of values, greatest less least.
func spread(x []float64) float64 { return max(slices.Max(x)-slices.Min(x), leastAmps) }

func (n *Night) burst(at int64) {
	if n.Bursts == 0 {
		n.FirstBurst = at / 1e9
	}
	n.Bursts++
}
