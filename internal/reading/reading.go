// Package reading is one measured value and its form as a CSV row.
//
// A Reading keeps what the instrument said (Text and Unit) beside the SI value,
// so that a file written again holds the same digits. Points and steps are
// checked against a run by Parse; this package does not know what a reading
// means for a joint.
package reading

import (
	"time"

	"ohmkeep/internal/run"
)

// Reading is one measured value between two points, through a feed, or at a place.
type Reading struct {
	Row      int       // line of the CSV, header = 1; 0 where it came from elsewhere
	Time     time.Time // as written, with its offset
	Step     string    // a step's name; "" = not known
	Quantity run.Quantity
	From, To string  // as written: points, or a feed's name, or a reel's or feed's
	Text     string  // the value as written
	Unit     string  // the unit as written
	Value    float64 // SI: V, A; °C for a temperature
	Meter    string  // a meter's name, never "" after Parse
}
