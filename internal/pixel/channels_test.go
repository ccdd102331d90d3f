package pixel

import (
	"math"
	"math/rand/v2"
	"testing"

	"ohmkeep/internal/run"
)

// The channels' currents and the idle current are the pixel's, whatever the levels;
// a dark channel in between keeps its place.
func TestChannelsAddUp(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 3))
	for range 2000 {
		s := strip(run.Driver(rng.IntN(3)))
		levels := map[string]float64{"red": rng.Float64(), "blue": rng.Float64()}
		l := New(s, levels, Adjust{Scale: 0.5 + rng.Float64(), Idle: 1, Shift: 0.2 * rng.NormFloat64()})
		v := -0.5 + 6*rng.Float64()
		amps := l.Channels(v)
		dark := New(s, nil, AsStated)
		sum, _ := dark.Current(v)
		for _, a := range amps {
			sum += a
		}
		if total, _ := l.Current(v); math.Abs(total-sum) > 1e-15 {
			t.Fatalf("%v at %g V: channels and idle are %g A, the pixel %g", s.Driver, v, sum, total)
		}
		if amps[1] != 0 || amps[3] != 0 {
			t.Fatalf("a dark channel draws: %v", amps)
		}
	}
}

// What each driver gives its LEDs, from the run file's definition of it: at rated
// volts the level; below, a linear driver holds it to its knee, a resistor loses in
// proportion to the volts above its forward volts, a regulated one holds it to its
// minimum voltage although its current rises.
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
}
