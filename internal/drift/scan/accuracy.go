package scan

import (
	"math"

	"ohmkeep/internal/run"
)

const (
	// rounding is the standard deviation of one count: 1/√12 for the rounding and 0.3 for noise of
	// the last digit (common practice, no source).
	rounding = 0.42
	// assumedCount is the resolution of a meter that states none, V (an INA226's bus
	// count; SBOS547, June 2011, table 1).
	assumedCount = 1.25e-3
)

// At returns a value of a scan, NaN where it has none.
func At(v []float64, i int) float64 {
	if i < 0 || i >= len(v) {
		return math.NaN()
	}
	return v[i]
}

// Accuracy returns the meter's range of a value at a slot of a scan: the one that its display showed,
// or else the smallest that holds the value.
func (c *Collector) Accuracy(s *Scan, q run.Quantity, slot int, value float64) (run.Range, bool) {
	at := 2 * slot
	if q == run.Current {
		at++
	}
	if at >= len(s.Meters) || s.Meters[at] < 0 {
		return run.Range{}, false
	}
	by := c.meters[s.Meters[at]]
	m := c.run.MeterIndex(by.name)
	if m < 0 {
		return run.Range{}, false
	}
	g := by.at
	if g < 0 {
		g = c.run.Meters[m].Range(q, value)
	}
	if g < 0 {
		return run.Range{}, false
	}
	return c.run.Meters[m].Ranges[g], true
}

// DropErrors returns the standard deviations of a drop between two places: that of one scan, and
// that of the error common to all scans. Readings over months come from a separate sensor at every
// place, even where the meter's description says otherwise.
func (c *Collector) DropErrors(s *Scan, u, v int) (once, common float64) {
	a, b := At(s.Volts, u), At(s.Volts, v)
	g, ok := c.Accuracy(s, run.Voltage, u, a)
	h, ok2 := c.Accuracy(s, run.Voltage, v, b)
	if !ok || !ok2 {
		return math.Sqrt2 * rounding * assumedCount, math.Abs(a) * 0.005
	}
	once = rounding * math.Hypot(g.Resolution, h.Resolution)
	common = math.Hypot(g.Fraction*a+g.Counts*g.Resolution, h.Fraction*b+h.Counts*h.Resolution) / math.Sqrt(3)
	return max(once, 1e-6), common
}

// Names returns the names of the meters of an element's sensors. A change of meters ends a stretch.
func (c *Collector) Names(s *Scan, slots ...int) string {
	name := ""
	for _, at := range slots {
		if at < len(s.Meters) && s.Meters[at] >= 0 {
			name += c.meters[s.Meters[at]].name
		}
		name += "|"
	}
	return name
}
