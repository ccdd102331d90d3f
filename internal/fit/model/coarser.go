package model

// displayedIn is a range in which readings may have been displayed.
type displayedIn struct {
	meterRange int // index into Model.MeterRanges
	group      int // index into Model.NoiseGroups
}

// addCoarser notes that the readings of an observation's range may have been displayed in the next
// larger one: all values of the column were written with the digits of that range, or coarser ones.
// They may also have been rounded when they were written down. A meter that chooses its range itself
// can be set to stay in one.
func (m *Model) addCoarser(o *Observation, c column, written float64) {
	meter := m.Run.Meters[c.meter]
	at := m.MeterRanges[o.MeterRange].Range
	next := nextRange(meter, at)
	if next < 0 || meter.Each || meter.DigitsShowRange || o.SmallestRange == Absent || written < meter.Ranges[next].Resolution*(1-1e-6) ||
		meter.Ranges[at].Resolution >= meter.Ranges[next].Resolution*(1-1e-6) {
		return
	}
	if _, known := m.coarser[o.MeterRange]; known {
		return
	}
	if m.coarser == nil {
		m.coarser = map[int]displayedIn{}
	}
	m.coarser[o.MeterRange] = displayedIn{m.addMeterRange(MeterRange{Meter: c.meter, Range: next, Limits: meter.Ranges[next]}), m.group(c.meter, next, false)}
}
