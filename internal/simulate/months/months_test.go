package months

import (
	"math"
	"math/rand/v2"
	"reflect"
	"testing"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/simulate/plant"
)

// alcove is an invented run of two reels.
var alcove = runtest.Strip("Alcove") + runtest.Reels(0.5, "west", "north") + runtest.Feed("west.start", "18 AWG") + runtest.White("check", 0.2)

// ten are ten days of a calm board.
func ten() Scenario {
	return Scenario{Begin: time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC), Days: 10, Every: 2 * time.Hour, Check: "check", CheckAt: 3 * time.Hour, Currents: true, TemperatureRead: true}
}

func readings(t *testing.T, story Scenario) (list []reading.Reading) {
	t.Helper()
	for x, err := range Readings(runtest.Parse(t, alcove), story, 1) {
		if err != nil {
			t.Fatal(err)
		}
		list = append(list, x)
	}
	return list
}

// The same seed gives the same readings, in the order of time, with one check a day; each
// reading's value is what its text says.
func TestSameSeedSameMonths(t *testing.T) {
	list := readings(t, ten())
	if again := readings(t, ten()); !reflect.DeepEqual(list, again) {
		t.Error("the same seed gives other readings")
	}
	checks := map[time.Time]bool{}
	for i, x := range list {
		if i > 0 && x.Time.Before(list[i-1].Time) {
			t.Errorf("%v after %v", x.Time, list[i-1].Time)
		}
		if value, err := reading.Value(x.Quantity, x.Text, x.Unit); err != nil || math.Abs(value-x.Value) > 1e-12 {
			t.Errorf("%s %s is %g, %v", x.Text, x.Unit, x.Value, err)
		}
		if x.Step == "check" {
			checks[x.Time] = true
		}
	}
	// 12 samples and a check a day, of 5 places, a feed and a temperature
	if len(list) != 10*13*7 || len(checks) != 10 {
		t.Errorf("%d readings, %d checks", len(list), len(checks))
	}
}

// Each part of a story changes the readings, and a missed check is missing.
func TestStoriesShow(t *testing.T) {
	calm := readings(t, ten())
	for name, set := range map[string]func(*Scenario){
		"noise": func(s *Scenario) { s.Noise = 0.002 }, "noise of the load": func(s *Scenario) { s.NoisePerAmp = 0.002 },
		"gains": func(s *Scenario) { s.GainTempCo, s.DayCycle = 1e-4, 10 }, "cabinet": func(s *Scenario) { s.Cabinet = 12 },
		"days": func(s *Scenario) { s.DayCycle = 6 }, "seasons": func(s *Scenario) { s.Season = 12 }, "dimmed": func(s *Scenario) { s.Dimmed = 3 },
		"uneven": func(s *Scenario) { s.Uneven = 0.05 }, "sag": func(s *Scenario) { s.Sag = 0.1 }, "ageing": func(s *Scenario) { s.Ageing = 0.3 },
		"swap": func(s *Scenario) { s.Swap = map[string]float64{"west.end": 5} },
		"change": func(s *Scenario) {
			s.Change = func(_ float64, p *plant.Plant, _ *rand.Rand) { p.Joints[0].Plus += 0.05 }
		},
	} {
		story := ten()
		set(&story)
		list, differ := readings(t, story), 0
		for i := range list {
			if list[i].Text != calm[i].Text {
				differ++
			}
		}
		if differ < 5 {
			t.Errorf("%s changes %d readings", name, differ)
		}
	}
	story := ten()
	story.MissedChecks = 1
	for _, x := range readings(t, story) {
		if x.Step != "" {
			t.Fatalf("a check at %v", x.Time)
		}
	}
	story.Check = "dusk"
	for _, err := range Days(runtest.Parse(t, alcove), story, 1) {
		if err == nil {
			t.Error("a step that the run does not have is shown")
		}
	}
}

// A joint that is worse by 50 mΩ drops more by its current times that (Ohm), in a check
// whose sensors are the same.
func TestAChangeObeysOhm(t *testing.T) {
	drop := func(list []reading.Reading) (volts, amps float64) {
		for _, x := range list {
			switch {
			case x.Step == "":
			case x.From == "west.end+":
				volts += x.Value / 10
			case x.From == "north.start+":
				volts -= x.Value / 10
			case x.Quantity == run.Current:
				amps += x.Value / 10
			}
		}
		return volts, amps
	}
	was, _ := drop(readings(t, ten()))
	story := ten()
	story.Change = func(_ float64, p *plant.Plant, _ *rand.Rand) { p.Joints[0].Minus += 0.05 }
	is, amps := drop(readings(t, story))
	// Half of the feed's current flows on into the second reel. A mean of ten values of 1.25 mV.
	if got, want := is-was, 0.05*amps/2; math.Abs(got-want) > 0.0015 {
		t.Errorf("drops %g V more, want %g", got, want)
	}
}
