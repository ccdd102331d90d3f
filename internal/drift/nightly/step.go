package nightly

import (
	"math"

	"ohmkeep/internal/drift/elements"
	"ohmkeep/internal/drift/scan"
	"ohmkeep/internal/numeric/trend"
)

// inStep evaluates an element in a known step.
func (d *Reader) inStep(e *elements.Element, day int64, c *scan.Collector, steps []int, k, u, v int, rough float64) (Night, bool) {
	m := &e.Steps[k]
	n := Night{Key: Key{e.Kind, e.Name, d.run.Steps[k].Name}, Element: e, Day: day, Offset: unknown, OffsetError: unknown}
	var ohms, drops, amps, errors []float64
	var times []int64
	warm := 0
	common := 0.0
	if !m.Known {
		return n, false
	}
	for i := range c.Scans {
		s := &c.Scans[i]
		drop := scan.At(s.Volts, u) - scan.At(s.Volts, v)
		if steps[i] != k || drop != drop || math.Abs(drop) > maxDropPart*math.Abs(scan.At(s.Volts, u)) || !d.hasAllCurrents(s) {
			continue
		}
		through := m.Through.Of(s.Amps)
		if math.Abs(through) < leastAmps {
			continue
		}
		celsius, known := d.degrees(e, s)
		if known {
			warm++
		}
		expected := m.Expected(s.Amps, celsius)
		one, all := c.DropErrors(s, u, v)
		if len(ohms) == 0 {
			slots := []int{2 * u, 2 * v}
			for f, is := range d.measured {
				if is {
					slots = append(slots, 2*f+1)
				}
			}
			n.Meters = c.Names(s, slots...)
			common = all
		}
		ohms = append(ohms, e.Nominal+(drop-expected)/through)
		drops = append(drops, drop-expected)
		amps = append(amps, through)
		errors = append(errors, rough*one/math.Abs(through))
		times = append(times, s.At)
	}
	if len(ohms) == 0 {
		return n, false
	}
	n.At = times[len(times)/2] / 1e9
	n.Drop, n.Amps = trend.Median(drops), trend.Median(amps)
	n.Value = Value{trend.Median(ohms), trend.Median(errors) / math.Sqrt(min(4, float64(len(ohms)))),
		common / math.Abs(n.Amps), 2*warm > len(ohms)}
	n.Valid = true
	d.offset(e, c, u, v, &n)
	if e.Joints == 1 && len(e.Edges) == 1 {
		d.burstsAtUnknownLoad(e, c, steps, u, v, &n)
	}
	var rises []float64
	for i, o := range ohms {
		n.Samples++
		if rise := o - n.Value.Ohms; rise > max(burstSigmas*errors[i], leastBurst) && rise*math.Abs(amps[i]) < maxDropPart*d.run.Supplies[0].Volts {
			n.burst(times[i])
			rises = append(rises, rise)
		}
	}
	if len(rises) > 0 {
		n.BurstRise = trend.Median(rises)
	}
	return n, true
}
