package months

import (
	"math"
)

// Gain and Offset are the ends of even distributions of a sensor's errors; an INA226
// has 0.1 % and 7.5 mV at most (from memory of the datasheet), cheap dividers more.
const (
	Gain       = 0.003
	Offset     = 0.003 // V
	CountVolts = 1.25e-3
	CountAmps  = 1.25e-3
	GainAmps   = 0.01
	OffsetAmps = 0.003 // A
	Wander     = 0.4   // counts, standard deviation of one value
)

// sensor is one device. Its gain is that at 20 °C, and changes by tempCo a kelvin.
type sensor struct{ gain, offset, tempCo float64 }

func (s *station) draw(gain, offset float64) sensor {
	return sensor{gain * (2*s.rng.Float64() - 1), offset * (2*s.rng.Float64() - 1), s.story.GainTempCo * s.tempered.NormFloat64()}
}

// at is what a device makes of a value when it is as warm as the copper.
func (d sensor) at(celsius, value float64) float64 {
	return value*(1+d.gain+d.tempCo*(celsius-20)) + d.offset
}

// thermometer is what a thermometer shows: in a cabinet beside the supply it is warmer
// than the copper by a part of its own and one that grows with the current, and follows
// the weather by two thirds.
func (s *station) thermometer(amps float64) float64 {
	if s.story.Cabinet == 0 {
		return s.plant.Warmth
	}
	return s.healthy.Warmth + 0.67*(s.plant.Warmth-s.healthy.Warmth) + s.story.Cabinet*(0.5+0.5*math.Min(amps/5, 2))
}

// device returns the sensor at a place on a day.
func (s *station) device(name string, day float64) sensor {
	if from, ok := s.story.Swap[name]; ok && day >= from {
		return s.sensors[name][1]
	}
	return s.sensors[name][0]
}
