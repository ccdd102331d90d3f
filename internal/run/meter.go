package run

import "math"

// Quantity is the quantity that a reading measures.
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
	Each   bool    // a separate sensor at every place; false: one instrument carried from place to place
	Lead   float64 // m, distance along the run between two points that its leads reach; 0 = both points are at one place or joint
	Ranges []Range
	// DigitsShowRange is whether the last digit of a reading shows its range, as on a display that is read by
	// the program. Otherwise a zero may have been dropped where the reading was written down.
	DigitsShowRange bool
}

// Range is one range of a meter. Its error is within ±(Fraction·value + Counts·Resolution);
// these are limits, not standard deviations.
type Range struct {
	Quantity   Quantity
	UpTo       float64 // SI; +Inf where the file states none
	Resolution float64 // one count, SI
	Fraction   float64 // of the reading
	Counts     float64 // of the error, see Range
	// KnownGain and KnownOffset are a known error, as from a comparison with a better meter: the range shows
	// (1 + KnownGain)·value + KnownOffset. Fraction and Counts are what remains beside it.
	KnownGain   float64
	KnownOffset float64 // SI
}

// Correct returns the value, SI, for which a range shows another, where its known error is taken away.
func (r Range) Correct(shown float64) float64 { return (shown - r.KnownOffset) / (1 + r.KnownGain) }

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

// ShownRange returns the index of the range on which a value was shown whose last digit is worth digit, SI: where
// DigitsShowRange, the smallest that holds the value and has no finer count. Otherwise, and where no range
// has such a count, it is that of Range.
func (m Meter) ShownRange(q Quantity, value, digit float64) int {
	best := -1
	for i, r := range m.Ranges {
		if m.DigitsShowRange && r.Quantity == q && r.Resolution >= digit*(1-1e-6) && math.Abs(value) <= r.UpTo*(1+1e-9) &&
			(best < 0 || r.UpTo < m.Ranges[best].UpTo) {
			best = i
		}
	}
	if best < 0 {
		return m.Range(q, value)
	}
	return best
}

// Shows reports whether a meter can show a value of a quantity. A meter without a range for
// temperatures shows all of them: their accuracy is not used, because an estimate allows for
// more than the error of a thermometer.
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

// Corrected reports whether a known error is stated for any range.
func (m Meter) Corrected() bool {
	for _, r := range m.Ranges {
		if r.KnownGain != 0 || r.KnownOffset != 0 {
			return true
		}
	}
	return false
}
