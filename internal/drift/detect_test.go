package drift

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"ohmkeep/internal/drift/nightly"
	"ohmkeep/internal/result/history"
)

// made is a joint's series that is made up night by night.
type made struct {
	*testing.T
	State
	rng   *rand.Rand
	calls []string
}

func newMade(t *testing.T, seed uint64) *made {
	tr := &track{Kind: "joint", Name: "west-north", Step: "check", Nominal: 0.003, Limit: 0.015, From: "west.end", To: "north.start"}
	return &made{t, State{Version: Version, Tracks: []*track{tr}}, rand.New(rand.NewPCG(seed, 5)), nil}
}

func (m *made) track() *track { return m.Tracks[0] }

// night adds one. Its error is 1 mΩ and drawn besides, where noisy.
func (m *made) night(ohms, amps, shift float64, noisy bool, meters string, flags int32) {
	t := m.track()
	if noisy {
		ohms += 0.001 * m.rng.NormFloat64()
	}
	day := int64(20000 + len(t.Points))
	t.take(&nightly.Night{Day: day, At: day*86400 + 10000, Meters: meters, Valid: true, Samples: 1,
		Value: nightly.Value{Ohms: ohms, Error: 0.001, CommonError: shift, TemperatureRead: flags&temperatureRead != 0},
		Drop:  (ohms - 0.003) * amps, Amps: amps, Offset: math.NaN(), OffsetError: math.NaN()})
	m.calls = append(m.calls, m.detect(t)...)
}

func (m *made) level(nights int, ohms float64) {
	for range nights {
		m.night(ohms, 1, 0.001, true, "a", temperatureRead)
	}
}

func (m *made) wants(what string, calls ...string) {
	m.Helper()
	if !slices.Equal(m.calls, calls) {
		m.Errorf("%s: called %v, not %v\n%s", what, m.calls, calls, describe(&history.History{Series: []history.Series{m.series(m.track())}}))
	}
}

// What falls with the current although no resistance does: the sensors' difference of
// 10 mV over a current that ages from 1 A to 0.6 A.
func TestAgeingIsNoRamp(t *testing.T) {
	seeds := uint64(2)
	if *faults > 0 {
		seeds = 5
	}
	for seed := range seeds {
		m := newMade(t, seed)
		for day := range 365 {
			amps := 1 - 0.4*float64(day)/365
			m.night(0.004+0.010/amps, amps, 0.010/amps, true, "a", temperatureRead)
		}
		m.wants("an ageing load")
		r := newMade(t, seed)
		for day := range 365 {
			amps := 1 - 0.4*float64(day)/365
			r.night(0.004+0.060*float64(day)/365, amps, 0.001, true, "a", temperatureRead)
		}
		r.wants("a ramp under an ageing load", "ramp")
	}
}

// A single wild night is set apart and calls nothing; three in ten days are a contact
// that comes and goes, and then two in a row are no step yet.
func TestWildNights(t *testing.T) {
	m := newMade(t, 1)
	m.level(30, 0.004)
	m.night(0.080, 1, 0.001, true, "a", temperatureRead)
	m.level(20, 0.004)
	m.wants("one wild night")
	if p := m.track().Points[30]; !p.is(outlier) || p.Bursts != 1 || math.Abs(float64(p.BurstRise)-0.076) > 0.005 {
		t.Errorf("%+v", p)
	}
	m.night(0.080, 1, 0.001, true, "a", temperatureRead)
	m.level(2, 0.004)
	m.night(0.060, 1, 0.001, true, "a", temperatureRead)
	m.level(2, 0.004)
	m.night(0.090, 1, 0.001, true, "a", temperatureRead)
	m.level(1, 0.004)
	m.wants("four wild nights", "intermittent")
	m.level(3, 0.004)
	m.level(3, 0.080)
	m.wants("three wild nights in a row after others", "intermittent")
	m.level(5, 0.080)
	m.wants("a level that holds", "intermittent", "step")
}

// A steep ramp looks like a step at first; it is called a ramp, once.
func TestASteepRampIsNoStep(t *testing.T) {
	for seed := range uint64(10) {
		m := newMade(t, seed)
		m.level(40, 0.004)
		for day := range 60 {
			m.night(0.004+0.001*float64(day), 1, 0.001, true, "a", temperatureRead)
		}
		m.wants("a ramp of a milliohm a day", "ramp")
	}
}

// Another meter is another sensor: its level is its own.
func TestAnotherMeterBeginsAnew(t *testing.T) {
	m := newMade(t, 1)
	m.level(40, 0.004)
	for range 40 {
		m.night(0.019, 1, 0.001, true, "b", temperatureRead)
	}
	m.wants("another meter")
	x := m.series(m.track())
	if len(x.Marks) != 1 || x.Marks[0].Text != "a sensor was replaced" || x.Verdict != history.Steady {
		t.Errorf("%+v", x)
	}
}

// The errors of replaced sensors carry no information on those of the new ones: a first level that
// was raised because it was negative does not raise the second one above a limit.
func TestAnotherMeterErrsByItself(t *testing.T) {
	m := newMade(t, 1)
	for night := range 80 {
		ohms, meters := -0.020, "a"
		if night >= 40 {
			ohms, meters = 0.022, "b"
		}
		m.night(ohms, 1, 0.02, true, meters, temperatureRead)
	}
	m.wants("another meter")
	x := m.series(m.track())
	if x.Low > 0 || x.High < 0.040 || x.Verdict != history.Steady || x.Marks[0].Before < 0 {
		t.Errorf("%+v", x)
	}
}

// An element without a night for weeks, while others had some, is not reported as steady.
func TestNotFollowedIsNotSteady(t *testing.T) {
	m := newMade(t, 1)
	m.level(40, 0.004)
	last := m.track().Points[39].At
	for days, want := range map[int64]history.Verdict{29: history.Steady, 31: history.Unproven} {
		m.Last = last + days*86400
		if x := m.series(m.track()); x.Verdict != want || (want == history.Unproven) != (x.Why == "not followed since 2024-11-12") {
			t.Errorf("after %d days %s, %q", days, x.Verdict, x.Why)
		}
	}
}

// A night that is wrong altogether makes no step of the ordinary nights behind it, even
// if those lie low among what a coarse sensor scatters.
func TestAWrongNightIsNoStep(t *testing.T) {
	for _, wrong := range []float64{10.6, -3} {
		m := newMade(t, 6)
		counts := []float64{0, 1, 0, -1, 0, 0, 1, -1, 0, 1}
		for night := range 60 {
			m.night(0.01+0.005*counts[night%len(counts)], 1, 0.001, false, "a", temperatureRead)
		}
		m.night(wrong, 1, 0.001, false, "a", temperatureRead)
		for range 3 {
			m.night(0.004, 1, 0.001, false, "a", temperatureRead)
		}
		m.wants("a wrong night")
		if !m.track().Points[60].is(outlier) {
			t.Errorf("a night of %g Ω is not set apart", wrong)
		}
	}
}

// Noise that wanders by itself, as a badly shielded sensor's does, is no drift.
func TestWanderingIsNoRamp(t *testing.T) {
	wrong, records := 0, uint64(15)
	if *faults > 0 {
		records = 40
	}
	for seed := range records {
		m := newMade(t, seed)
		wander := 0.0
		for range 200 {
			wander = 0.7*wander + 0.0016*m.rng.NormFloat64()
			m.night(0.02+wander, 1, 0.001, false, "a", temperatureRead)
		}
		wrong += len(m.calls)
	}
	if wrong > 3 {
		t.Errorf("%d calls in %d wandering records", wrong, records)
	}
}

// Without a temperature the trend of a wire may be due to the season alone, and its interval covers
// that.
func TestWithoutTemperatureTheTrendIsOpen(t *testing.T) {
	half := func(flags int32) float64 {
		m := newMade(t, 3)
		m.track().Wire, m.track().Nominal = 0.1, 0.1
		for range 180 {
			m.night(0.1, 1, 0.001, true, "a", flags)
		}
		x := m.series(m.track())
		return (x.PerYearHigh - x.PerYearLow) / 2
	}
	// Ten kelvin of copper either way, 7.9 mΩ, over half a year, at 95 %. With a thermometer,
	// what may miss a third of twelve kelvin either way, twice 0.9 mΩ, 7.2 mΩ a year; the
	// nights' scatter comes to either.
	if with, without := half(temperatureRead), half(0); without < 0.031 || without > 0.034 || with < 0.0075 || with > 0.0095 {
		t.Errorf("±%g with a temperature, ±%g without", with, without)
	}
}

// The gate stays shut while nothing happens and opens for what is far too small to be
// called.
func TestGate(t *testing.T) {
	m := newMade(t, 2)
	m.level(60, 0.004)
	if p := m.track().latest(); p.mayHaveChanged() {
		t.Error("the gate is open for nothing")
	}
	m.level(20, 0.006)
	if p := m.track().latest(); !p.mayHaveChanged() {
		t.Error("the gate is shut for two deviations")
	}
	m.wants("two milliohms")
}

// A forecast is a range of dates, or the reason why there is none.
func TestForecast(t *testing.T) {
	inf := math.Inf(1)
	for _, c := range []struct {
		name            string
		x               history.Series
		drifting        bool
		early, likely   float64 // years; 0 = none
		late            float64
		text            string
		overBeforeNight bool
	}{
		{"no limit", history.Series{Limit: math.NaN(), Ohms: 0.1}, true, 0, 0, 0, "it has no limit", false},
		{"not known", history.Series{Limit: 1, Ohms: math.NaN(), High: inf}, false, 0, 0, 0, "unknown", false},
		{"steady", history.Series{Limit: 0.1, Ohms: 0.01, Low: 0.009, High: 0.011, PerYear: 0, PerYearLow: -0.001, PerYearHigh: 0.001}, false, 0, 0, 0, "not within 10 years", false},
		{"drifting", history.Series{Limit: 0.1, Ohms: 0.04, Low: 0.03, High: 0.05, PerYear: 0.06, PerYearLow: 0.05, PerYearHigh: 0.07}, true, 0.05 / 0.07, 1, 1.4, "", false},
		{"perhaps for ever", history.Series{Limit: 0.1, Ohms: 0.04, Low: 0.03, High: 0.05, PerYear: 0.06, PerYearLow: -0.05, PerYearHigh: 0.07}, true, 0.05 / 0.07, 1, 0, "", false},
		{"slowly", history.Series{Limit: 0.1, Ohms: 0.04, Low: 0.03, High: 0.05, PerYear: 0.001, PerYearLow: 0, PerYearHigh: 0.002}, true, 0, 0, 0, "not within 10 years", false},
		{"falling", history.Series{Limit: 0.1, Ohms: 0.04, Low: 0.03, High: 0.05, PerYear: -0.01, PerYearLow: -0.02, PerYearHigh: -0.001}, true, 0, 0, 0, "not within 10 years", false},
		{"over", history.Series{Limit: 0.1, Ohms: 0.14, Low: 0.13, High: 0.15, PerYear: 0.1, PerYearLow: 0, PerYearHigh: 0.2}, true, 0, 0, 0, "it is over its limit", true},
	} {
		c.x.Last = spring
		forecast(&c.x, c.drifting)
		years := func(when interface{ IsZero() bool }, at float64) float64 {
			if when.IsZero() {
				return 0
			}
			return at
		}
		r := c.x.Reaches
		if c.text != "" && r.Text != c.text {
			t.Errorf("%s: %q", c.name, r.Text)
		}
		if c.overBeforeNight {
			continue
		}
		for i, got := range []float64{years(r.Earliest, r.Earliest.Sub(spring).Hours()/24/year), years(r.Likely, r.Likely.Sub(spring).Hours()/24/year), years(r.Latest, r.Latest.Sub(spring).Hours()/24/year)} {
			if want := []float64{c.early, c.likely, c.late}[i]; math.Abs(got-want) > 1e-6 {
				t.Errorf("%s: date %d in %g years, not %g", c.name, i, got, want)
			}
		}
	}
}
