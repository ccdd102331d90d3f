package pixel

import (
	"math"
	"math/rand/v2"
	"testing"

	"ohmkeep/internal/run"
)

func strip(d run.Driver) run.Strip {
	s := run.Strip{Volts: 5, Driver: d, Idle: 0.0008}
	for i, name := range []string{"red", "green", "blue"} {
		f := 1.6 + 0.5*float64(i)
		s.Channels = append(s.Channels, run.Channel{Name: name, Amps: 0.012, Forward: f, Knee: f + 1, Ohms: (5 - f) / 0.012})
	}
	return s
}

var white = map[string]float64{"red": 1, "green": 1, "blue": 0.5}

func TestCurrentAtRatedVolts(t *testing.T) {
	const idle = 0.0008
	for _, c := range []struct {
		driver run.Driver
		volts  float64
		want   float64 // from the run file's definition of each driver
	}{
		{run.Linear, 5, 0.012*2.5 + idle},
		{run.Linear, 4, 0.012*2.5 + idle}, // 0.8 of rated
		{run.Linear, 0, 0},
		{run.Linear, -1, 0},
		{run.Resistor, 5, 0.012*2.5 + idle},
		{run.Resistor, 4, 0.012*(2.4/3.4+1.9/2.9+0.5*1.4/2.4) + idle},
		{run.Resistor, 2.0, 0.012*0.4/3.4 + idle},
		{run.Regulated, 5, 0.012*2.5 + idle},
		{run.Regulated, 4, 0.012*2.5*5/4 + idle},
	} {
		l := New(strip(c.driver), white, AsStated)
		if got, _ := l.Current(c.volts); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("%v at %g V: %.6g A, want %.6g", c.driver, c.volts, got, c.want)
		}
	}
}

// Slope and partials against central differences; linear and resistor drivers never
// fall with the voltage.
func TestDerivatives(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 2))
	for range 3000 {
		d := run.Driver(rng.IntN(3))
		st := strip(d)
		by := Adjust{Scale: 0.5 + rng.Float64(), Idle: 0.5 + rng.Float64(), Shift: 0.2 * rng.NormFloat64(), Stretch: 0.3 * rng.NormFloat64()}
		v := 0.1 + 5.5*rng.Float64()
		value := func(v float64, by Adjust) float64 {
			l := New(st, white, by)
			a, _ := l.Current(v)
			return a
		}
		l := New(st, white, by)
		_, slope := l.Current(v)
		scale, idle, shift, stretch := l.Partials(v)
		const h = 1e-6
		with := func(f func(*Adjust, float64)) float64 {
			up, down := by, by
			f(&up, h)
			f(&down, -h)
			return (value(v, up) - value(v, down)) / (2 * h)
		}
		for _, c := range []struct {
			name      string
			got, want float64
		}{
			{"slope", slope, (value(v+h, by) - value(v-h, by)) / (2 * h)},
			{"scale", scale, with(func(a *Adjust, x float64) { a.Scale += x })},
			{"idle", idle, with(func(a *Adjust, x float64) { a.Idle += x })},
			{"shift", shift, with(func(a *Adjust, x float64) { a.Shift += x })},
			{"stretch", stretch, with(func(a *Adjust, x float64) { a.Stretch += x })},
		} {
			if math.Abs(c.got-c.want) > 2e-6 && !bend(l, v, 2*h) {
				t.Fatalf("%v at %g V, %+v: %s %g, difference %g", d, v, by, c.name, c.got, c.want)
			}
		}
		if d != run.Regulated && slope < 0 {
			t.Fatalf("%v at %g V: slope %g", d, v, slope)
		}
	}
}

// bend reports whether the law has a corner within h of v.
func bend(l Load, v, h float64) bool {
	for _, t := range l.terms[:l.n+1] {
		if math.Abs(v-t.forward) < h || math.Abs(v-t.knee) < h {
			return true
		}
	}
	return false
}
