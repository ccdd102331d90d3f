package model

import (
	"math"
	"testing"

	"ohmkeep/internal/fit/model/modeltest"
	"ohmkeep/internal/reading"
)

// written gives the deviation of rounding that a column of texts has on a display of 1 mV.
func written(t *testing.T, unit string, texts ...string) float64 {
	t.Helper()
	r, list := modeltest.Cornice()
	list = list[:1:1]
	one := list[0]
	list = nil
	for _, text := range texts {
		x := one
		x.Text, x.Unit = text, unit
		x.Value, _ = reading.Value(x.Quantity, text, unit)
		list = append(list, x)
	}
	p, err := New(r, list)
	if err != nil {
		t.Fatal(err)
	}
	return math.Sqrt(p.Observations[0].RoundingVariance * 12)
}

// A column is as fine as its last decimals: trailing zeros may have been dropped from some
// values, not from all; and never finer than the display counts.
func TestDigitsAsWritten(t *testing.T) {
	for _, c := range []struct {
		unit  string
		texts []string
		want  float64 // V
	}{
		{"V", []string{"4.812", "4.9", "5"}, 0.001},
		{"V", []string{"4.81", "4.9", "5.02"}, 0.01},
		{"V", []string{"4.8", "4.9", "5"}, 0.1},
		{"mV", []string{"4812", "4903"}, 0.001},
		{"mV", []string{"4812.5", "4903.25"}, 0.001},
		{"V", []string{"4.812E0", "49.03e-1"}, 0.001},
		{"V", []string{"4.81", "4.92", "5.03", "5.01", "4.97", "4.8125"}, 0.01}, // the last is a slip
	} {
		if got := written(t, c.unit, c.texts...); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%v %s: %g V, want %g", c.texts, c.unit, got, c.want)
		}
	}
}
