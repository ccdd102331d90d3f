// Package reading is one measured value: its digits, its unit and its quality.
//
// A Reading keeps what the instrument sent (Text and Unit) beside the SI value, so that a
// file written again has the same digits. Quality is a set of marks, the same from the
// instrument to the store. Sample is a reading as an instrument sends it, Recorded one
// that a probe of a run took. Package csv reads and writes files of readings, package
// openmetrics the text form of OpenMetrics.
package reading

import (
	"slices"
	"time"

	"ohmkeep/internal/run"
)

// Reading is one measured value between two points, through a feed, or at a place.
type Reading struct {
	Row      int       // line of the file, header = 1; 0 where it came from elsewhere
	Time     time.Time // as written, with its offset; 1970 to 2262
	Step     string    // a step's name; "" = not known
	Quantity run.Quantity
	From, To string  // as written: points, or a feed's name, or a reel's or feed's
	Text     string  // the value as written; without a measured value what the instrument sent
	Unit     string  // the unit as written
	Value    float64 // SI: V, A; °C for a temperature; 0 where Quality says that nothing was measured
	Meter    string  // a meter's name, "" = not known
	Quality  Quality
	Counts   Counts // of a register that the value was computed from
	Mean     *Mean  // the readings that Value is the mean of; nil = it is a single one
}

// ByTime returns readings in the order of their times; readings of the same moment stay in
// the given order.
func ByTime(readings []Reading) []Reading {
	sorted := slices.Clone(readings)
	slices.SortStableFunc(sorted, func(a, b Reading) int { return a.Time.Compare(b.Time) })
	return sorted
}
