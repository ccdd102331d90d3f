package walk

import (
	"testing"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// Two readings agree within some units of the last digit that the display shows, not of the range that the value would fit.
func TestAgreeByDigits(t *testing.T) {
	w := Walk{run: &run.Run{Meters: []run.Meter{{Name: "hand", DigitsShowRange: true, Ranges: []run.Range{
		{Quantity: run.Voltage, UpTo: 6, Resolution: 0.001}, {Quantity: run.Voltage, UpTo: 60, Resolution: 0.01}}}}}}
	shown := func(value float64, text string) reading.Reading {
		return reading.Reading{Quantity: run.Voltage, Value: value, Text: text, Unit: "V", Meter: "hand"}
	}
	if !w.agree(shown(0.36, "0.36"), shown(0.40, "0.40")) {
		t.Error("0.36 V and 0.40 V do not agree on a display of 0.01 V")
	}
	if w.agree(shown(0.360, "0.360"), shown(0.400, "0.400")) {
		t.Error("0.360 V and 0.400 V agree on a display of 0.001 V")
	}
}
