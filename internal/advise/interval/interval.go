// Package interval holds a computed quantity with its 95 % interval.
package interval

import "math"

// Interval is a value with its 95 % interval. Low and High equal Value where the run
// is taken as its file states it.
type Interval struct{ Value, Low, High float64 }

// Exact returns a value without uncertainty.
func Exact(value float64) Interval { return Interval{value, value, value} }

// New returns a value with the ends of its interval.
func New(value, low, high float64) Interval { return Interval{value, low, high} }

// Clamp returns the interval cut to [least, most]; it still contains its value.
func (i Interval) Clamp(least, most float64) Interval {
	i.Low = math.Min(math.Max(i.Low, least), i.Value)
	i.High = math.Max(math.Min(i.High, most), i.Value)
	return i
}

// Including returns the interval widened to contain x.
func (i Interval) Including(x float64) Interval {
	i.Low, i.High = math.Min(i.Low, x), math.Max(i.High, x)
	return i
}

// MovedTo returns an interval as wide about another value.
func (i Interval) MovedTo(value float64) Interval {
	by := value - i.Value
	return Interval{value, i.Low + by, i.High + by}
}
