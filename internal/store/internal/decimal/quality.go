package decimal

import "strings"

// Quality says what is known against an indication; the zero Quality is a good one.
type Quality uint8

// The bits of a Quality.
const (
	Overload       Quality = 1 << iota // the instrument says that it is beyond its range
	Saturated                          // a register at the end of its scale
	Unsettled                          // taken before the instrument had settled
	ClockUncertain                     // the wall clock was not known to be right
	Faulty                             // the instrument says that it has no value
)

// Measured tells whether the number is a measured value. A reading whose clock
// was uncertain is one; only when it was taken is in doubt.
func (q Quality) Measured() bool { return q&(Overload|Saturated|Unsettled|Faulty) == 0 }

// String gives the words of a quality, "good" where nothing is against it.
func (q Quality) String() string {
	var words []string
	for i, word := range []string{"overload", "saturated", "unsettled", "clock uncertain", "faulty"} {
		if q&(1<<i) != 0 {
			words = append(words, word)
		}
	}
	if words == nil {
		return "good"
	}
	return strings.Join(words, ", ")
}
