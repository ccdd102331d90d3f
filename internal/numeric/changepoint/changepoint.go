// Package changepoint finds changes in a series. Cusum and Ewma signal a change, value by
// value; Best and Courses fit the jump or bend that explains it best. Cusum and Ewma take
// values standardised by the caller: zero mean and unit standard deviation without a change.
package changepoint

import "math"

// Cusum is the two-sided tabular cumulative sum (Page 1954; NIST/SEMATECH e-Handbook
// 6.3.2.3). Slack and Limit are in the units of the values.
type Cusum struct {
	Slack, Limit float64
	High, Low    float64 // the two sums, ≥ 0
}

// Add takes a deviation from the target and reports whether either sum is beyond the
// limit.
func (c *Cusum) Add(deviation float64) bool {
	c.High = math.Max(0, c.High+deviation-c.Slack)
	c.Low = math.Max(0, c.Low-deviation-c.Slack)
	return c.High > c.Limit || c.Low > c.Limit
}

// Ewma is the exponentially weighted moving average (Roberts 1959; e-Handbook
// 6.3.2.4) with the limits it has after many values.
type Ewma struct {
	Weight float64 // of the newest value, 0 to 1
	Width  float64 // of the limits, in standard deviations of the average
	Mean   float64 // the average so far, in standard deviations of one value
}

// Limit returns how far the average may go either way, in standard deviations of one value.
func (e Ewma) Limit() float64 { return e.Width * math.Sqrt(e.Weight/(2-e.Weight)) }

// Add takes a deviation from the target and reports whether the average is beyond
// its limit.
func (e *Ewma) Add(deviation float64) bool {
	e.Mean += e.Weight * (deviation - e.Mean)
	return math.Abs(e.Mean) > e.Limit()
}
