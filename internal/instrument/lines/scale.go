package lines

import (
	"errors"
	"fmt"
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

// WithShunt gives the value that another shunt makes of the same indication; a
// value that is not good stays as it is.
func (v Value) WithShunt(ohms float64) (Value, error) {
	if v.Fault != "" || ohms == v.Shunt && ohms > 0 {
		return v, nil // the digits stay as they were sent
	}
	text, si, scale, err := v.Scale.Apply(v.SI, ohms)
	if err != nil {
		return v, fmt.Errorf("channel %q, %s: %w", v.Channel, v.Quantity, err)
	}
	v.Text, v.SI, v.Scale, v.Unit = text, si, scale, reading.Unit(v.Quantity)
	return v, nil
}
