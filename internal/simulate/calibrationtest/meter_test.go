package calibrationtest

import (
	"math"
	"strconv"
	"testing"

	"ohmkeep/internal/run"
)

// bench is an invented meter.
var bench = run.Meter{Name: "bench", Ranges: []run.Range{
	{Quantity: run.Voltage, UpTo: 0.6, Resolution: 0.0001, Fraction: 0.002, Counts: 5},
	{Quantity: run.Voltage, UpTo: 6, Resolution: 0.001, Fraction: 0.005, Counts: 3},
	{Quantity: run.Current, UpTo: 10, Resolution: 0.0025, Fraction: 0.01, Counts: 2},
}}

func TestMeterIsWithinItsAccuracy(t *testing.T) {
	lowest, highest := 0.0, 0.0
	for seed := range uint64(200) {
		m := NewMeter(bench, seeded(seed))
		for _, value := range []float64{0, 0.1234, -0.5, 0.7, 5.0637, -6} {
			g := bench.Ranges[bench.Range(run.Voltage, value)]
			allowed := g.Fraction*math.Abs(value) + g.Counts*g.Resolution
			off, limits, ok := m.Distort(run.Voltage, "A", value)
			if !ok || limits != g || math.Abs(off-value) > allowed*(1+1e-12) {
				t.Errorf("%g becomes %g, allowed ±%g", value, off, allowed)
			}
			lowest, highest = min(lowest, (off-value)/allowed), max(highest, (off-value)/allowed)
			text, shown, ok := m.Indicate(run.Voltage, "A", value)
			if !ok || math.Abs(shown-off) > (0.5+6*digitNoise)*g.Resolution {
				t.Errorf("%g is shown as %g", off, shown)
			}
			if counts := shown / g.Resolution; math.Abs(counts-math.Round(counts)) > 1e-6 {
				t.Errorf("%s is not a whole number of counts", text)
			}
			if again, err := strconv.ParseFloat(text, 64); err != nil || again != shown {
				t.Errorf("%q is not %g", text, shown)
			}
		}
	}
	if lowest > -0.8 || highest < 0.8 {
		t.Errorf("of what they may be off, meters use only %.2f to %.2f", lowest, highest)
	}
}

// A count of 2.5 mA needs three digits, not four; a range holds its end and no more.
func TestMeterDigitsAndRanges(t *testing.T) {
	m := NewMeter(bench, seeded(1))
	for _, c := range []struct {
		quantity run.Quantity
		value    float64
		digits   int // behind the point; -1: no range holds the value
	}{{run.Voltage, 0.6, 4}, {run.Voltage, 0.61, 3}, {run.Voltage, 6, 3}, {run.Voltage, 6.1, -1}, {run.Current, 2, 3}, {run.Temperature, 20, -1}} {
		text, _, ok := m.Indicate(c.quantity, "A", c.value)
		if !ok {
			if c.digits >= 0 {
				t.Errorf("%v %g: no range", c.quantity, c.value)
			}
			continue
		}
		digits := 0
		for i := range text {
			if text[i] == '.' {
				digits = len(text) - i - 1
			}
		}
		if digits != c.digits {
			t.Errorf("%v %g is shown as %s", c.quantity, c.value, text)
		}
	}
}

// One carried instrument has the same error everywhere; separate sensors have different errors.
func TestMeterErrorsCommonOrEach(t *testing.T) {
	for _, each := range []bool{false, true} {
		stated := bench
		stated.Each = each
		m := NewMeter(stated, seeded(5))
		a, _, _ := m.Distort(run.Voltage, "A", 5)
		b, _, _ := m.Distort(run.Voltage, "B", 5)
		again, _, _ := m.Distort(run.Voltage, "A", 5)
		if again != a {
			t.Error("the error at a place changes")
		}
		if (a != b) != each {
			t.Errorf("errors each %v: 5 V becomes %g and %g", each, a, b)
		}
	}
}
