package pixel

import (
	"math"
	"testing"

	"ohmkeep/internal/run"
)

// The drive of the LEDs by driver, from the run file's definitions. At rated volts it is the
// level. Below, a linear driver keeps it down to its knee; with a resistor it is proportional
// to the voltage above the forward voltage; a regulated driver keeps it down to its minimum
// voltage although its current rises.
func TestDrive(t *testing.T) {
	levels := map[string]float64{"red": 1, "green": 0.5}
	for _, c := range []struct {
		driver     run.Driver
		volts      float64
		red, green float64
	}{
		{run.Linear, 5, 1, 0.5},
		{run.Linear, 3.2, 1, 0.5},
		{run.Linear, 2.6, 1, 0.25}, // green half-way between 2.1 and 3.1
		{run.Linear, 2.0, 0.4 * 0.4 * (3 - 0.8), 0},
		{run.Resistor, 5, 1, 0.5},
		{run.Resistor, 4, 2.4 / 3.4, 0.5 * 1.9 / 2.9},
		{run.Resistor, 6, 4.4 / 3.4, 0.5 * 3.9 / 2.9},
		{run.Resistor, 2, 0.4 / 3.4, 0},
		{run.Regulated, 5, 1, 0.5},
		{run.Regulated, 3.2, 1, 0.5},
		{run.Regulated, 2.0, 0, 0},
		{run.Regulated, -1, 0, 0},
	} {
		l := New(strip(c.driver), levels, AsStated)
		got := l.Drive(c.volts)
		if math.Abs(got[0]-c.red) > 1e-12 || math.Abs(got[1]-c.green) > 1e-12 || got[2] != 0 {
			t.Errorf("%v at %g V: %v, want %g and %g", c.driver, c.volts, got, c.red, c.green)
		}
	}
	// A brighter duty than stated is more light.
	l := New(strip(run.Linear), levels, Adjust{Scale: 1.2})
	if got := l.Drive(5); math.Abs(got[0]-1.2) > 1e-12 {
		t.Errorf("scaled: %v", got)
	}
	// A dark channel in between keeps its place.
	for _, driver := range []run.Driver{run.Linear, run.Resistor, run.Regulated} {
		l := New(strip(driver), map[string]float64{"red": 1, "blue": 0.5}, AsStated)
		if got := l.Drive(5); math.Abs(got[0]-1) > 1e-12 || got[1] != 0 || math.Abs(got[2]-0.5) > 1e-12 || got[3] != 0 {
			t.Errorf("%v without green: %v", driver, got)
		}
	}
}
