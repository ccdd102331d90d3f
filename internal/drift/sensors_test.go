package drift

import (
	"math"
	"testing"

	"ohmkeep/internal/drift/nightly"
)

// pair is two series that share the place west.end: the reel before it and the joint
// behind it.
func pair(t *testing.T) (m *made, reel *track) {
	m = newMade(t, 4)
	reel = &track{Kind: "reel", Name: "west", Step: "check", Nominal: 0.3, Wire: 0.3, From: "west.start", To: "west.end"}
	m.Tracks = append(m.Tracks, reel)
	return m, reel
}

// both adds a night to each: volts beyond the nominal, at 1 A, and in the dark.
func (m *made) both(reel *track, joint, dark, west float64) {
	for _, x := range []struct {
		t                 *track
		drop, dark, shift float64
	}{{reel, west, math.NaN(), 0.01}, {m.track(), joint, dark, 0.01}} {
		day := int64(20000 + len(x.t.Points))
		x.drop += 0.0005 * m.rng.NormFloat64()
		x.t.take(&nightly.Night{Day: day, At: day*86400 + 10000, Meters: "a", Valid: true, Samples: 1,
			Value: nightly.Value{Ohms: x.t.Nominal + x.drop, Error: 0.001, CommonError: x.shift, TemperatureRead: true},
			Drop:  x.drop, Amps: 1, Offset: x.dark, OffsetError: 0.0005, DarkAmps: 0.1})
		m.calls = append(m.calls, m.detect(x.t)...)
	}
}

// Fifteen millivolts in the check step alone are a resistance. With the same in the dark,
// or with the opposite on the other side of a place that both share, they are a sensor.
func TestASensorIsNoStep(t *testing.T) {
	for _, c := range []struct {
		name              string
		joint, dark, west float64 // V that come on the fortieth night
		calls             []string
	}{
		{"a resistance", 0.015, 0.0015, 0, []string{"step"}},
		{"a sensor that the dark shows", 0.015, 0.015, 0, nil},
		{"a sensor that its other side shows", 0.015, math.NaN(), -0.015, nil},
		{"two resistances at once", 0.015, math.NaN(), 0.015, []string{"step", "step"}},
		{"a resistance, nothing known in the dark", 0.015, math.NaN(), 0, []string{"step"}},
	} {
		m, reel := pair(t)
		for night := range 60 {
			if night < 40 {
				m.both(reel, 0, c.dark*0, 0)
			} else {
				m.both(reel, c.joint, c.dark, c.west)
			}
		}
		m.wants(c.name, c.calls...)
	}
}

// With another current the sensors' difference appears as another resistance, unless dark scans show
// that difference.
func TestAnotherCurrentIsNoStep(t *testing.T) {
	m := newMade(t, 7)
	for night := range 120 {
		amps := 1.0
		if night >= 60 {
			amps = 0.55
		}
		m.night(0.004+0.010/amps, amps, 0.012/amps, true, "a", temperatureRead)
	}
	m.wants("another current")
}
