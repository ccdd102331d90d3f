package model

import (
	"math"
	"slices"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// observe adds reading i to the model, or notes why it is not used. It returns the places
// that need a network node.
func (m *Model) observe(i int, x reading.Reading, shown digits) []run.Place {
	if x.Quantity == run.Temperature {
		m.Notes[i] = "used as the temperature of the copper"
		return nil
	}
	step := m.Run.StepIndex(x.Step)
	if step < 0 && len(m.Run.Steps) == 1 {
		step = 0
	}
	if step < 0 {
		m.Notes[i] = "its step is not in the run file, so its load is unknown"
		return nil
	}
	o := Observation{Reading: i, Feed: Absent, Value: x.Value}
	var places []run.Place
	if x.Quantity == run.Current {
		o.Feed = m.Run.FeedIndex(x.From)
	} else {
		from, errFrom := m.Run.Point(x.From)
		to, errTo := m.Run.Point(x.To)
		if errFrom != nil || errTo != nil {
			m.Notes[i] = "its points are not in the run"
			return nil
		}
		o.From, o.To = from, to
		places = []run.Place{from.Place, to.Place}
	}
	if x.Quantity == run.Current && o.Feed < 0 {
		m.Notes[i] = "its feed is not in the run"
		return nil
	}
	written, _ := m.columnOf(x)
	meter, at := written.meter, shown.displayRange(m.Run.Meters[written.meter], written, x)
	if at < 0 { // no range holds this value: its unit or decimal point is wrong
		if at = widestRange(m.Run.Meters[meter], x.Quantity); at < 0 {
			m.Notes[i] = "its meter has no range for it"
			return nil
		}
		o.Excluded, o.ExcludedForGood = true, true
	}
	limits := m.Run.Meters[meter].Ranges[at]
	if x.Mean != nil {
		d := readingDeviation(limits.Resolution, x.Mean)
		o.RoundingVariance = d * d
	} else {
		unit := math.Max(limits.Resolution, shown.resolution[column{meter, at, x.Unit}]) // of the last digit
		o.RoundingVariance = unit * unit / 12
	}
	o.Group = m.group(meter, at, x.Mean != nil)
	place := ""
	if m.Run.Meters[meter].Each {
		place = x.From + " " + x.To
	}
	o.MeterRange = m.addMeterRange(MeterRange{Meter: meter, Range: at, place: place, Limits: limits})
	if o.SmallestRange = o.MeterRange; x.Mean != nil {
		o.SmallestRange = Absent
	}
	m.addCoarser(&o, written, shown.resolution[column{meter, at, x.Unit}])
	o.Step = m.addStep(step)
	m.Observations = append(m.Observations, o)
	return places
}

// widestRange is the index of the meter's largest range for a quantity, −1 without one.
func widestRange(m run.Meter, q run.Quantity) int {
	at := -1
	for i, r := range m.Ranges {
		if r.Quantity == q && (at < 0 || r.UpTo > m.Ranges[at].UpTo) {
			at = i
		}
	}
	return at
}

// MeterRangeIndex returns the index of a meter range in MeterRanges; Absent where it is not there.
func (m *Model) MeterRangeIndex(s MeterRange) int {
	return slices.IndexFunc(m.MeterRanges, func(have MeterRange) bool {
		return have.Meter == s.Meter && have.Range == s.Range && have.place == s.place
	})
}

// addMeterRange adds a meter range to MeterRanges if it is new, and returns its index there.
func (m *Model) addMeterRange(s MeterRange) int {
	if at := m.MeterRangeIndex(s); at != Absent {
		return at
	}
	m.MeterRanges = append(m.MeterRanges, s)
	return len(m.MeterRanges) - 1
}

// readTemperature sets the prior of the copper temperature from the temperature readings. Elements
// and steps with readings of their own keep their difference from the mean of all readings.
func (m *Model) readTemperature(readings []reading.Reading) {
	r, t := m.Run, &m.temperature
	t.reel, t.feed = make([]float64, len(r.Reels)), make([]float64, len(r.Feeds))
	t.mean, t.deviation = r.Ambient+unreadRise, unreadTemperatureSpread
	sum, n := 0.0, 0
	own, steps := map[string][]float64{}, map[int][]float64{}
	for _, x := range readings {
		if x.Quantity == run.Temperature {
			sum += x.Value
			n++
			own[x.From] = append(own[x.From], x.Value)
			steps[r.StepIndex(x.Step)] = append(steps[r.StepIndex(x.Step)], x.Value)
		}
	}
	if n == 0 {
		return
	}
	t.mean, t.deviation = sum/float64(n), readTemperatureSpread
	difference := func(list []float64) float64 {
		if len(list) == 0 {
			return 0
		}
		mean := 0.0
		for _, v := range list {
			mean += v / float64(len(list))
		}
		return mean - t.mean
	}
	for i, reel := range r.Reels {
		t.reel[i] = difference(own[reel.Name])
	}
	for i, f := range r.Feeds {
		t.feed[i] = difference(own[f.Name])
	}
	t.step = map[int]float64{}
	for step, list := range steps {
		t.step[step] = difference(list)
	}
}
