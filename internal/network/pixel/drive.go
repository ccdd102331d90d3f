package pixel

import "ohmkeep/internal/run"

// Drive returns the drive of each channel's LEDs at v volts, as a part of that at level 1
// and rated volts, in the order of the strip's channels. For linear drivers and resistors
// it is the ratio of currents. For regulated drivers it is the ratio of powers: they draw
// more current when the voltage falls, and keep the LEDs' power down to their minimum voltage.
func (l *Load) Drive(v float64) (part [MostChannels]float64) {
	if v <= 0 {
		return part
	}
	for i := range l.n {
		t := &l.terms[i]
		if l.driver == run.Resistor {
			amps, _ := l.channel(t, v)
			part[t.channel] = amps / t.rated
			continue
		}
		full, _ := t.fall(v)
		part[t.channel] = full / t.rated
	}
	return part
}
