package model

import (
	"math"
	"testing"

	"ohmkeep/internal/fit/model/modeltest"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
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

// The resolution of a column is that of its last decimals, because trailing zeros may have been
// dropped from some values but not from all. It is never finer than the display's.
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
		{"V", []string{"4.81", "4.92", "5.03", "5.01", "4.97", "4.8125"}, 0.01}, // the last is a typing error
	} {
		if got := written(t, c.unit, c.texts...); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%v %s: %g V, want %g", c.texts, c.unit, got, c.want)
		}
	}
}

// A display that changes from 3.999 to 4.00 V shows near there which range it is on, unless all
// values are written with two decimals or trailing zeros were dropped.
func TestRangeOfDisplay(t *testing.T) {
	for _, c := range []struct {
		what  string
		texts []string
		want  float64 // V, the end of the range of the first value
	}{
		{"three decimals", []string{"3.990", "3.501", "4.21"}, 4},
		{"two decimals among three", []string{"3.99", "3.500", "4.21"}, 40},
		{"at the end of the range", []string{"4.00", "3.501", "4.21"}, 40},
		{"at the end, without its zeros", []string{"4", "3.501", "4.21"}, 40},
		{"at the end, with three decimals", []string{"4.000", "3.501", "4.21"}, 4},
		{"a zero on the next range", []string{"3.99", "3.501", "4.20"}, 40},
		{"zeros may have been dropped", []string{"3.99", "3.501", "4.21"}, 4},
		{"all written with two decimals", []string{"3.99", "3.50", "4.21"}, 4},
		{"far below the end", []string{"3.50", "3.510", "4.21"}, 4},
	} {
		if got := firstRange(t, false, c.texts); got != c.want {
			t.Errorf("%s: the range to %g V, want %g", c.what, got, c.want)
		}
	}
}

// firstRange returns the end of the range, V, that the first of some texts is taken to be shown on, by a meter of
// 4,000 counts.
func firstRange(t *testing.T, digitsShowRange bool, texts []string) float64 {
	t.Helper()
	r, list := modeltest.Cornice()
	limits := r.Meters[0].Ranges[0]
	limits.UpTo, limits.Resolution = 4, 0.001
	wider := limits
	wider.UpTo, wider.Resolution = 40, 0.01
	r.Meters[0].Ranges = []run.Range{wider, limits}
	r.Meters[0].DigitsShowRange = digitsShowRange
	list = list[:len(texts)]
	for i, text := range texts {
		list[i].Text, list[i].Unit = text, "V"
		list[i].Value, _ = reading.Value(run.Voltage, text, "V")
	}
	p, err := New(r, list)
	if err != nil {
		t.Fatal(err)
	}
	return p.MeterRanges[p.Observations[0].MeterRange].Limits.UpTo
}

// The last digit of a display that the program reads shows the range, and the range chooses the accuracy.
func TestRangeThatDigitsShow(t *testing.T) {
	for text, want := range map[string]float64{"1.512": 4, "01.51": 40, "1.51": 40, "4.000": 4, "5.12": 40, "1.5": 4} {
		if got := firstRange(t, true, []string{text}); got != want {
			t.Errorf("%s: the range to %g V, want %g", text, got, want)
		}
	}
	if got := firstRange(t, false, []string{"1.51"}); got != 4 {
		t.Errorf("typed by hand: %g", got)
	}
}
