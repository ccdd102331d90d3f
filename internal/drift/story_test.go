package drift

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"ohmkeep/internal/history"
	"ohmkeep/internal/run"
	"ohmkeep/internal/runfile"
	"ohmkeep/internal/simulate"
	"ohmkeep/internal/simulate/months"
)

// gallery is an invented run: three reels in a row, fed at the start.
const gallery = `schema = 1
name = "Gallery" # invented
ambient_celsius = 20
[strip]
volts = 5.0
pixels_per_metre = 60
driver = "linear"
channel_milliamps = 12.0
idle_milliamps = 0.8
loop_milliohms_per_metre = 80.0
[[supply]]
name = "A"
volts = 5.1
amps = 20
milliohms = 5
[[reel]]
name = "west"
metres = 1
[[reel]]
name = "north"
metres = 1
[[reel]]
name = "east"
metres = 1
[[feed]]
name = "near"
from = "A"
to = "west.start"
metres = 2.5
conductor = "18 AWG"
[[step]]
name = "dark"
[[step]]
name = "white 20 %"
red = 0.2
green = 0.2
blue = 0.2
[[meter]]
name = "board"
errors = "each"
  [[meter.range]]
  quantity = "voltage"
  up_to = 36
  resolution = 0.00125
  percent = 0.3
  counts = 3
  [[meter.range]]
  quantity = "current"
  up_to = 20
  resolution = 0.00125
  percent = 1
  counts = 3
[limits]
design_step = "white 20 %"
`

// ring adds a far feed, so that current comes from both ends.
const ring = `
[[feed]]
name = "far"
from = "A"
to = "east.end"
metres = 4
conductor = "16 AWG"
`

func parsed(t testing.TB, text string) *run.Run {
	t.Helper()
	r, err := runfile.Parse("gallery.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return r
}

var spring = time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)

// usual is an uneventful year with a warm summer, ageing pixels and a sagging supply.
func usual(days int) months.Story {
	return months.Story{Begin: spring, Days: days, Check: "white 20 %", CheckAt: 3*time.Hour + 30*time.Minute, Currents: true, Warmth: true,
		DayCycle: 6, Season: 12, Sag: 0.1, Ageing: 0.1}
}

func history240(t testing.TB, r *run.Run, story months.Story, seed uint64) *history.History {
	t.Helper()
	f, err := Fold(r, months.Readings(r, story, seed), nil)
	if err != nil {
		t.Fatal(err)
	}
	return f.State.History(r)
}

func describe(h *history.History) string {
	s := ""
	for _, x := range h.Series {
		s += fmt.Sprintf("%-6s %-12s %-12s %7.2f [%7.2f %7.2f] mΩ  %+6.2f [%+6.2f %+6.2f]/yr limit %.1f %s %s\n", x.Kind, x.Name, x.Verdict,
			1e3*x.Ohms, 1e3*x.Low, 1e3*x.High, 1e3*x.PerYear, 1e3*x.PerYearLow, 1e3*x.PerYearHigh, 1e3*x.Limit, x.Reaches.Text, x.Why)
		for _, c := range x.Changes {
			s += fmt.Sprintf("    %s %s %.2f → %.2f called %s\n", c.Time.Format(time.DateOnly), c.Shape, 1e3*c.Before, 1e3*c.After, c.Called.Format(time.DateOnly))
		}
		for _, m := range x.Marks {
			s += fmt.Sprintf("    %s %q %.2f → %.2f\n", m.Time.Format(time.DateOnly), m.Text, 1e3*m.Before, 1e3*m.After)
		}
	}
	return s
}

func TestLook(t *testing.T) {
	r := parsed(t, gallery)
	start := time.Now()
	t.Log("\n" + describe(history240(t, r, usual(240), 1)))
	t.Log(time.Since(start))
	story := usual(240)
	story.Change = func(day float64, p *simulate.Plant, _ *rand.Rand) {
		if day > 120 {
			p.Joints[0].Plus += 0.015
		}
		if day > 60 {
			p.Joints[1].Plus += 0.060 * (day - 60) / 365
		}
	}
	t.Log("\n" + describe(history240(t, r, story, 2)))
	story.Change = func(day float64, p *simulate.Plant, rng *rand.Rand) {
		if day > 120 && rng.Float64() < 0.06 {
			p.Joints[0].Plus += 0.06 + 0.1*rng.Float64()
		}
		if day > 150 && rng.Float64() < 0.06 {
			p.Feeds[0].Plus += 0.06 + 0.1*rng.Float64()
		}
	}
	t.Log("\n" + describe(history240(t, r, story, 3)))
	r = parsed(t, gallery+ring)
	story.Change = func(day float64, p *simulate.Plant, rng *rand.Rand) {
		if day > 120 {
			p.Joints[0].Plus += 0.015
		}
		if day > 80 {
			p.Feeds[0].Plus += 0.060 * (day - 80) / 365
		}
		if day > 60 {
			p.Feeds[1].Plus += 0.03
		}
	}
	t.Log("\n" + describe(history240(t, r, story, 4)))
	story.Change = func(day float64, p *simulate.Plant, rng *rand.Rand) {
		if day > 120 {
			p.Joints[0].Plus += 0.0075
			p.Joints[0].Minus += 0.0075
		}
		if day > 80 {
			p.Feeds[0].Plus += 0.030 * (day - 80) / 365
			p.Feeds[0].Minus += 0.030 * (day - 80) / 365
		}
	}
	t.Log("\n" + describe(history240(t, r, story, 5)))
}
