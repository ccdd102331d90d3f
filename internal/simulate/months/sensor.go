package months

import "math"

// Properties of a board's sensors. Gains and offsets are evenly distributed between plus and
// minus these; an INA226 has 0.1 % and 7.5 mV at most (from memory of the datasheet), cheap dividers more.
const (
	maxGainVolts  = 0.003
	maxOffset     = 0.003 // V
	maxGainAmps   = 0.01
	maxOffsetAmps = 0.003   // A
	countVolts    = 1.25e-3 // V
	countAmps     = 1.25e-3 // A
	digitNoise    = 0.4     // counts, standard deviation of one value
)

// sensor is one device. Its gain is that at 20 °C, and changes by tempCo a kelvin.
type sensor struct{ gain, offset, tempCo float64 }

// draw draws a device whose gain and offset lie between plus and minus these.
func (s *station) draw(maxGain, maxOffset float64) sensor {
	return sensor{maxGain * (2*s.rng.Float64() - 1), maxOffset * (2*s.rng.Float64() - 1), s.story.GainTempCo * s.tempered.NormFloat64()}
}

// at returns the reading of a true value; the device is as warm as the copper.
func (d sensor) at(celsius, value float64) float64 {
	return value*(1+d.gain+d.tempCo*(celsius-20)) + d.offset
}

// thermometer returns the temperature that is read: in a cabinet beside the supply it is warmer
// than the copper by a part of its own and one that grows with the current, and follows
// the weather by two thirds.
func (s *station) thermometer(amps float64) float64 {
	if s.story.Cabinet == 0 {
		return s.plant.Copper
	}
	return s.healthy.Copper + 0.67*(s.plant.Copper-s.healthy.Copper) + s.story.Cabinet*(0.5+0.5*math.Min(amps/5, 2))
}

// device returns the sensor at a place on a day.
func (s *station) device(name string, day float64) sensor {
	if from, ok := s.story.Swap[name]; ok && day >= from {
		return s.sensors[name][1]
	}
	return s.sensors[name][0]
}
