package scan

import (
	"math"
	"testing"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runtest"
)

var spring = time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)

// Readings of one scan belong together in any order; repeats of the same moment
// and scans that lack a sensor do no harm.
func TestRounds(t *testing.T) {
	r := runtest.Load(t, "../elements/testdata/wall.toml")
	at := func(seconds int, from, to string, value float64) reading.Reading {
		q := run.Voltage
		if to == "" {
			q = run.Current
		}
		return reading.Reading{Time: spring.Add(time.Duration(seconds) * time.Second), Quantity: q, From: from, To: to, Value: value, Meter: "board"}
	}
	c := NewCollector(r, nil)
	for _, x := range []reading.Reading{
		at(0, "A+", "A-", 5.1), at(0, "A+", "A-", 5.2), at(1, "near", "", 1), at(2, "low.start-", "low.start+", -5),
		at(1800, "near", "", 2), at(1800, "A+", "A-", 5),
		at(1803, "A+", "A-", 4.9), at(1803, "low.start+", "west.start-", 4.9),
		at(1809, "low.start+", "low.start-", 4.8),
	} {
		c.Add(&x)
	}
	c.Finish()
	if len(c.Scans) != 4 || len(c.Places) != 2 {
		t.Fatalf("%d rounds, %d places", len(c.Scans), len(c.Places))
	}
	if s := c.Scans[0]; s.Volts[0] != 5.1 || s.Volts[1] != 5 || s.Amps[1] != 1 {
		t.Errorf("%+v", s)
	}
	if s := c.Scans[2]; s.Volts[0] != 4.9 || known(s.Volts, 1) {
		t.Errorf("%+v", s)
	}
}

func known(v []float64, i int) bool { return i < len(v) && v[i] == v[i] }

// The known error of a meter's range is taken away from what it shows.
func TestCorrected(t *testing.T) {
	r := runtest.Load(t, "../elements/testdata/wall.toml")
	r.Meters = append(r.Meters, run.Meter{Name: "clamp", Ranges: []run.Range{
		{Quantity: run.Current, UpTo: 4, Resolution: 0.001, KnownGain: 0.05, KnownOffset: -0.02},
		{Quantity: run.Current, UpTo: 40, Resolution: 0.01}}})
	c := NewCollector(r, nil)
	for i, shown := range []float64{2.08, 5} {
		c.Add(&reading.Reading{Time: spring.Add(time.Duration(i) * time.Hour), Quantity: run.Current, From: "near", Value: shown, Meter: "clamp"})
		c.Add(&reading.Reading{Time: spring.Add(time.Duration(i) * time.Hour), Quantity: run.Voltage, From: "A+", To: "A-", Value: 5, Meter: "board"})
	}
	c.Finish()
	near := r.FeedIndex("near")
	if len(c.Scans) != 2 || math.Abs(c.Scans[0].Amps[near]-2) > 1e-12 || c.Scans[1].Amps[near] != 5 {
		t.Errorf("%+v", c.Scans)
	}
}

// The accuracy is that of the range which the digits of a display show, also where a smaller one holds the value.
func TestAccuracyByDigits(t *testing.T) {
	r := runtest.Load(t, "../elements/testdata/wall.toml")
	r.Meters = append(r.Meters, run.Meter{Name: "hand", DigitsShowRange: true, Ranges: []run.Range{
		{Quantity: run.Voltage, UpTo: 6, Resolution: 0.001}, {Quantity: run.Voltage, UpTo: 60, Resolution: 0.01}}})
	c := NewCollector(r, nil)
	for i, text := range []string{"5.000", "5.00"} {
		c.Add(&reading.Reading{Time: spring.Add(time.Duration(i) * time.Hour), Quantity: run.Voltage, From: "A+", To: "A-", Value: 5, Text: text, Unit: "V", Meter: "hand"})
		c.Add(&reading.Reading{Time: spring.Add(time.Duration(i) * time.Hour), Quantity: run.Current, From: "near", Value: 1, Meter: "board"})
	}
	c.Finish()
	if len(c.Scans) != 2 {
		t.Fatalf("%d scans", len(c.Scans))
	}
	for i, want := range []float64{0.001, 0.01} {
		if g, ok := c.Accuracy(&c.Scans[i], run.Voltage, 0, 5); !ok || g.Resolution != want {
			t.Errorf("scan %d: %v V %v, want %v V", i, g.Resolution, ok, want)
		}
	}
	if a, b := c.Names(&c.Scans[0], 0), c.Names(&c.Scans[1], 0); a != "hand|" || a != b {
		t.Errorf("meters %q and %q: another range is no other meter", a, b)
	}
}
