package reading

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"time"
)

// Sample is a reading as an instrument sends it on one of its channels. The place of the channel is
// in the run file: Row, Step, From, To and Meter are empty. Without a measured value Text is empty
// and Value 0.
type Sample struct {
	Reading
	Channel string  // the instrument's name of the input
	Raw     string  // as sent
	Fault   string  // why there is no measured value, such as "overload"; "" where there is one
	Serial  string  // of the sensor, where the instrument sends it
	Shunt   float64 // Ω, by which the current was computed; 0 = not known
}

// Good reports whether the sample has no marks.
func (s Sample) Good() bool { return s.Quality == Good }

// SetFault removes the value of a sample and sets its quality and the reason.
func (s *Sample) SetFault(q Quality, why string) {
	s.Text, s.Value, s.Quality, s.Fault = "", 0, s.Quality|q, why
}

// ErrNoShunt is wrapped by the error of a sample that was not computed with a known shunt.
var ErrNoShunt = errors.New("no shunt is known by which it was computed")

// WithShunt returns the sample for the same voltage across another shunt, in Ω. Counts are
// multiplied again, so that repeated corrections do not accumulate rounding; without counts the
// value is scaled. A sample that is not good is returned unchanged.
func (s Sample) WithShunt(ohms float64) (Sample, error) {
	if !s.Good() || ohms == s.Shunt && ohms > 0 {
		return s, nil // the digits stay as they were sent
	}
	var value float64
	switch {
	case s.Shunt <= 0:
		return s, fmt.Errorf("channel %q, %s: %w", s.Channel, s.Quantity, ErrNoShunt)
	case !(ohms > 0) || math.IsInf(ohms, 1):
		return s, fmt.Errorf("channel %q, %s: a shunt has a resistance above 0", s.Channel, s.Quantity)
	case s.Counts.Known():
		s.Counts.PerCount *= s.Shunt / ohms
		value = s.Counts.Value()
	default:
		value = s.Value * s.Shunt / ohms
	}
	s.Text, s.Unit, s.Shunt = Digits(value), Unit(s.Quantity), ohms
	var err error
	s.Value, err = strconv.ParseFloat(s.Text, 64) // the value is what the text says
	return s, err
}

// Counts is the number of counts of a register from which a value was computed.
type Counts struct {
	N        int64
	PerCount float64 // SI value of one count; 0 where there are no counts
}

// Known reports whether there are counts.
func (c Counts) Known() bool { return c.PerCount != 0 }

// Value returns the SI value of the counts.
func (c Counts) Value() float64 { return float64(c.N) * c.PerCount }

// Recorded is a reading that a probe of a run took.
type Recorded struct {
	Reading
	Run, Probe string
	SinceBoot  time.Duration // since the start of the machine; 0 = not known
}
