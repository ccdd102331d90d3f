package chart

import (
	"math"
	"testing"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// The whiskers of a reading have the accuracy of the range that the digits of a display show.
func TestAccuracyByDigits(t *testing.T) {
	r := &run.Run{Meters: []run.Meter{{Name: "hand", DigitsShowRange: true, Ranges: []run.Range{
		{Quantity: run.Voltage, UpTo: 6, Resolution: 0.001, Counts: 2}, {Quantity: run.Voltage, UpTo: 60, Resolution: 0.01, Counts: 2}}}}}
	for text, want := range map[string]float64{"5.000": 0.002, "5.00": 0.02} {
		m := assessment.Reading{Reading: reading.Reading{Quantity: run.Voltage, Value: 5, Text: text, Unit: "V", Meter: "hand"}}
		if got := accuracy(r, m); math.Abs(got-want) > 1e-12 {
			t.Errorf("%s V: ±%g V, want ±%g V", text, got, want)
		}
	}
}
