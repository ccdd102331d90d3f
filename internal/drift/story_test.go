package drift

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/simulate/months"
)

// gallery is an invented run: three reels in a row, fed at the start, a chip for six LEDs of
// each colour.
var gallery = `schema = 1
name = "Gallery" # invented
ambient_celsius = 20
[strip]
volts = 5.0
pixels_per_metre = 10
driver = "linear"
channel_milliamps = 72.0
idle_milliamps = 4.8
loop_milliohms_per_metre = 80.0
[[supply]]
name = "A"
volts = 5.1
amps = 20
milliohms = 5
` + runtest.Reels(1, "west", "north", "east") + runtest.Feed("west.start", "18 AWG") + `
[[step]]
name = "dark"
` + runtest.White("white 20 %", 0.2) + `
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

var spring = time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)

// usual is an uneventful year, read every hour, with a warm summer, ageing pixels and a
// sagging supply.
func usual(days int) months.Scenario {
	return months.Scenario{Begin: spring, Days: days, Every: time.Hour, Check: "white 20 %", CheckAt: 3*time.Hour + 30*time.Minute, Currents: true, TemperatureRead: true,
		DayCycle: 6, Season: 12, Sag: 0.1, Ageing: 0.1}
}

func judged(t testing.TB, r *run.Run, story months.Scenario, seed uint64) *history.History {
	t.Helper()
	return folded(t, r, story, seed).State.History(r)
}

// folded folds a story. What a clock that jumped has put out of order is sorted, as a
// store returns it.
func folded(t testing.TB, r *run.Run, story months.Scenario, seed uint64) *Follower {
	t.Helper()
	f := Follow(r, &State{Version: Version})
	var late []reading.Reading
	day := story.Begin.Unix() / 86400
	for list, err := range months.Days(r, story, seed) {
		if err != nil {
			t.Fatal(err)
		}
		list = append(late, list...)
		late = nil
		slices.SortStableFunc(list, func(a, b reading.Reading) int { return a.Time.Compare(b.Time) })
		for i, x := range list {
			if DayOf(x) > day {
				late = append(late, list[i:]...)
				list = list[:i]
				break
			}
		}
		if _, err := night(f, day, list); err != nil {
			t.Fatal(err)
		}
		day++
	}
	return f
}

// night folds a day's readings.
func night(f *Follower, day int64, list []reading.Reading) ([]Call, error) {
	for i := range list {
		f.Add(day, &list[i])
	}
	return f.Night(day)
}

func describe(h *history.History) string {
	s := ""
	for _, x := range h.Series {
		s += fmt.Sprintf("%-6s %-12s %-12s %7.2f [%7.2f %7.2f] mΩ  %+6.2f [%+6.2f %+6.2f]/yr limit %.1f %s %s\n", x.Kind, x.Name, x.Verdict,
			1e3*x.Ohms, 1e3*x.Low, 1e3*x.High, 1e3*x.PerYear, 1e3*x.PerYearLow, 1e3*x.PerYearHigh, 1e3*x.Limit, x.Reaches.Text, x.Why)
		for _, c := range x.Changes {
			s += fmt.Sprintf("    %s %s %.2f → %.2f called %s\n", c.Time.Format(time.DateOnly), c.Shape, 1e3*c.Before, 1e3*c.After, c.Detected.Format(time.DateOnly))
		}
		for _, m := range x.Marks {
			s += fmt.Sprintf("    %s %q %.2f → %.2f\n", m.Time.Format(time.DateOnly), m.Text, 1e3*m.Before, 1e3*m.After)
		}
	}
	return s
}
