package scan

import (
	"slices"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// meter is a meter that read a place or a feed.
type meter struct {
	name string
	at   int // its range, by the last digit of its display; -1 = it is found by the value
}

// meterOf returns the meter of a reading.
func (c *Collector) meterOf(x *reading.Reading) meter {
	m := c.run.MeterIndex(x.Meter)
	if m < 0 || !c.run.Meters[m].DigitsShowRange {
		return meter{x.Meter, -1}
	}
	return meter{x.Meter, c.run.Meters[m].ShownRange(x.Quantity, x.Value, x.LastDigit())}
}

// setMeter records which meter read a place or feed. Scans share the record until it changes.
func (c *Collector) setMeter(q run.Quantity, slot int, m meter) {
	at := 2 * slot
	if q == run.Current {
		at++
	}
	id := slices.Index(c.meters, m)
	if id < 0 {
		c.meters = append(c.meters, m)
		id = len(c.meters) - 1
	}
	if at < len(c.current.Meters) && c.current.Meters[at] == id {
		return
	}
	own := append([]int{}, c.current.Meters...)
	for len(own) <= at {
		own = append(own, -1)
	}
	own[at] = id
	c.current.Meters = own
}

// corrected returns the value of a reading without the known error of its meter's range.
func (c *Collector) corrected(x *reading.Reading) float64 {
	m := c.run.MeterIndex(x.Meter)
	if m < 0 || !c.run.Meters[m].Corrected() {
		return x.Value
	}
	at := c.run.Meters[m].ShownRange(x.Quantity, x.Value, x.LastDigit())
	if at < 0 {
		return x.Value
	}
	return c.run.Meters[m].Ranges[at].Correct(x.Value)
}
