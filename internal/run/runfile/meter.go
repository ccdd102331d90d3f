package runfile

import (
	"fmt"
	"math"

	"ohmkeep/internal/run"
	"ohmkeep/internal/run/toml"
)

// usualMeter returns the meter of a run file without one: the accuracy of a cheap multimeter (common
// practice, no source).
func usualMeter() run.Meter {
	m := run.Meter{Name: "hand"}
	for _, r := range []struct {
		quantity         run.Quantity
		upTo, resolution float64
		percent, counts  float64
	}{
		{run.Voltage, 0.6, 0.0001, 0.5, 3},
		{run.Voltage, 6, 0.001, 0.5, 3},
		{run.Voltage, 60, 0.01, 0.5, 3},
		{run.Current, 6, 0.001, 1.5, 3},
		{run.Current, 60, 0.01, 1.5, 3},
		{run.Temperature, 100, 0.1, 1, 10},
	} {
		m.Ranges = append(m.Ranges, run.Range{
			Quantity: r.quantity, UpTo: r.upTo, Resolution: r.resolution, Fraction: r.percent / 100, Counts: r.counts,
		})
	}
	return m
}

func (r *reader) readMeters() {
	tables := r.root.Tables("meter")
	if len(tables) == 0 && !r.root.Has("meter") {
		r.run.Meters = []run.Meter{usualMeter()}
	}
	taken := names{}
	for _, t := range tables {
		m := run.Meter{
			Name: r.readTitle(t, taken),
			Each: readChoice(t, "errors", []string{"common", "each"}, 0) == 1,
			Lead: readNumberOr(t, "lead_metres", 0, metres),
		}
		ranges := t.Tables("range")
		if len(ranges) == 0 {
			t.Missing("range", "a meter has at least one [[meter.range]]")
		}
		for _, t := range ranges {
			m.Ranges = append(m.Ranges, readRange(t, m.Ranges))
		}
		r.run.Meters = append(r.run.Meters, m)
	}
}

// readRange reads one range of a meter; before are the ranges already read.
func readRange(t *toml.Table, before []run.Range) run.Range {
	g := run.Range{
		Quantity:    run.Quantity(readChoice(t, "quantity", run.QuantityNames, -1)),
		UpTo:        readNumberOr(t, "up_to", math.Inf(1), positive),
		Resolution:  requireNumber(t, "resolution", positive, "what one count is, in V, A or °C"),
		Fraction:    requireNumber(t, "percent", percent, "of the reading, as the meter's sheet promises") / 100,
		Counts:      readNumberOr(t, "counts", 0, counts),
		KnownGain:   readNumberOr(t, "gain", 1, meterGain) - 1,
		KnownOffset: readNumberOr(t, "offset", 0, meterOffset),
	}
	if g.Resolution > g.UpTo {
		t.Fault("resolution", fmt.Sprintf("one count, %g, is more than the whole range, %g", g.Resolution, g.UpTo), "")
	}
	for _, other := range before {
		if other.Quantity == g.Quantity && other.UpTo == g.UpTo {
			t.Fault("up_to", fmt.Sprintf("the meter has another %s range that ends there", g.Quantity), "each range ends somewhere else")
			break
		}
	}
	return g
}
