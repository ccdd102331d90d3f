package board

import (
	"errors"
	"math"
	"strconv"

	"ohmkeep/internal/reading"
)

// ErrNoShunt is inside the error of a value that no shunt made.
var ErrNoShunt = errors.New("no shunt is known by which it was reckoned")

// Apply gives what another shunt, in Ω, makes of an indication, and by which scale:
// the same volts across it. Counts are taken anew; without them si, the value by the
// old shunt, is stretched.
func (s Scale) Apply(si, ohms float64) (text string, value float64, by Scale, err error) {
	switch {
	case s.Shunt <= 0:
		return "", 0, s, ErrNoShunt
	case !(ohms > 0) || math.IsInf(ohms, 1):
		return "", 0, s, errors.New("a shunt has a resistance above 0")
	case s.Counted:
		s.PerCount *= s.Shunt / ohms
		value = float64(s.Counts) * s.PerCount
	default:
		value = si * s.Shunt / ohms
	}
	s.Shunt = ohms
	text = reading.Digits(value)
	value, err = strconv.ParseFloat(text, 64) // the value is what the text says
	return text, value, s, err
}
