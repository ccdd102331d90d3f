package reading

import (
	"strings"
	"time"
)

// Quality is a set of marks of a reading; Good is the empty set. Stores keep the bits on disk, so
// their meaning never changes.
type Quality uint8

// Good is the quality of a reading without marks.
const Good Quality = 0

// The marks of a Quality.
const (
	Overload       Quality = 1 << iota // beyond the range of the instrument
	Saturated                          // a register or the chip's arithmetic at the end of its scale
	Unsettled                          // taken before the instrument or the load had settled
	ClockUncertain                     // the date and time may be wrong
	Faulty                             // the instrument reports that it has no value
	Withdrawn                          // taken out by a person, who found it wrong
)

// Measured reports whether the reading is a measured value, possibly with an uncertain time. All
// other readings keep what the instrument sent, and have no value.
func (q Quality) Measured() bool { return q&^ClockUncertain == 0 }

// Misdated reports whether the date of a reading is known to be wrong: it is uncertain and
// lies in the future.
func (x *Reading) Misdated(now time.Time) bool {
	return x.Quality&ClockUncertain != 0 && x.Time.After(now)
}

var qualityNames = [...]string{"overload", "saturated", "unsettled", "clock uncertain", "faulty", "withdrawn"}

// String returns the names of the marks, separated by commas; "good" without any.
func (q Quality) String() string {
	if q == Good {
		return "good"
	}
	var names []string
	for i, name := range qualityNames {
		if q&(1<<i) != 0 {
			names = append(names, name)
		}
	}
	return strings.Join(names, ", ")
}
