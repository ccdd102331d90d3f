package pixel

import "ohmkeep/internal/run"

// Drive returns how strongly each channel's LEDs are driven at v volts, as a part of
// what they get at level 1 and rated volts, in the order of the strip's channels.
// Behind linear drivers and resistors the LEDs get the current that the channel
// draws; a regulated driver draws more current when the volts fall, but its LEDs
// get the same power down to its minimum voltage.
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
