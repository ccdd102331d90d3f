package run

import "math"

// Quantity is what a reading measures.
type Quantity int

const (
	Voltage Quantity = iota
	Current
	Temperature
)

func (q Quantity) String() string { return [...]string{"voltage", "current", "temperature"}[q] }

// QuantityNames are the names a file may use, in the order of the constants.
var QuantityNames = []string{"voltage", "current", "temperature"}

// Meter is an instrument's accuracy.
type Meter struct {
	Name   string
	Each   bool    // a sensor of its own at every place; false: one instrument carried about
	Lead   float64 // m that its leads reach along the run; 0 = a pair of places beside each other only
	Ranges []Range
}

// Range is one range of a meter. Accuracy figures are limits, not sigmas.
type Range struct {
	Quantity   Quantity
	UpTo       float64 // SI; +Inf where the file states none
	Resolution float64 // one count, SI
	Fraction   float64 // of the reading
	Counts     float64
}

// Range returns the index of the smallest range that holds the value, or -1 where
// no range of the meter can show it.
func (m Meter) Range(q Quantity, value float64) int {
	best := -1
	for i, r := range m.Ranges {
		if r.Quantity == q && math.Abs(value) <= r.UpTo*(1+1e-9) && (best < 0 || r.UpTo < m.Ranges[best].UpTo) {
			best = i
		}
	}
	return best
}

// Shows reports whether a meter can show a value of a quantity. A meter without any
// range for temperatures shows them all: their accuracy decides nothing (an
// estimate allows for more than any thermometer is off).
func (m Meter) Shows(q Quantity, value float64) bool {
	if m.Range(q, value) >= 0 {
		return true
	}
	return q == Temperature && !m.Measures(q)
}

// Measures reports whether a meter has a range for a quantity.
func (m Meter) Measures(q Quantity) bool {
	for _, r := range m.Ranges {
		if r.Quantity == q {
			return true
		}
	}
	return false
}
