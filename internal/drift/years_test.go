package drift

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/simulate/months"
)

var runYears = flag.Int("runyears", 0, "simulated years of healthy runs; 0 = a season of each sort")

// vex makes some days of a healthy run trying in one of many ways.
func vex(i, days int, rng *rand.Rand) (what, text string, story months.Scenario) {
	story = usual(days)
	sometime := float64(days) * (0.2 + 0.6*rng.Float64())
	story.DayCycle, story.Season = 4+8*rng.Float64(), 6+12*rng.Float64()
	story.Sag, story.Ageing = 0.25*rng.Float64(), 0.3*rng.Float64()
	text = gallery
	if rng.IntN(3) == 0 {
		text += ring
		what = "ring "
	}
	switch i % 9 {
	case 0:
		what += "hot summer"
		story.Season = 18
	case 1:
		what += "no temperature"
		story.TemperatureRead = false
	case 2:
		what += "three weeks' gap"
		from := sometime
		story.Edit = func(day float64, sample []reading.Reading) []reading.Reading {
			if day > from && day < from+21 {
				return nil
			}
			return sample
		}
	case 3:
		what += "duplicates"
		story.Edit = func(_ float64, sample []reading.Reading) []reading.Reading {
			return append(sample, sample[:len(sample)/2]...)
		}
	case 4:
		what += "sensor replaced, said"
		story.Swap, story.Renamed = map[string]float64{[]string{"A", "west.end", "north.start", "east.end"}[rng.IntN(4)]: sometime}, "hand"
	case 5:
		what += "sensor replaced, not said"
		story.Swap = map[string]float64{[]string{"A", "west.end", "north.start", "east.start"}[rng.IntN(4)]: sometime}
	case 6:
		what += "ends only"
		story.Sensed = []string{"A", "west.start", "east.end"}
	case 8:
		what += "a clock that jumped a day and back"
		from := math.Floor(sometime)
		story.Edit = func(day float64, sample []reading.Reading) []reading.Reading {
			if day > from+0.3 && day < from+0.6 {
				for i := range sample {
					sample[i].Time = sample[i].Time.AddDate(0, 0, 1)
				}
			}
			return sample
		}
	case 7:
		what += "a wrong reading now and then"
		story.Edit = func(_ float64, sample []reading.Reading) []reading.Reading {
			if rng.Float64() < 0.002 {
				sample[rng.IntN(len(sample))].Value *= rng.Float64()
			}
			return sample
		}
	}
	return what, text, story
}

func falseVerdicts(h *history.History) (found []string) {
	for _, x := range h.Series {
		if x.Verdict != history.Steady && x.Verdict != history.Unproven || len(x.Changes) > 0 {
			found = append(found, fmt.Sprintf("%s %s is %s", x.Kind, x.Name, x.Verdict))
		}
	}
	return found
}

// Healthy run-years, rough in every way that a year can be trying and with every trouble by turns,
// give no false verdict.
func TestHealthyYears(t *testing.T) {
	wrong, unproven, series := 0, 0, 0
	begin := time.Now()
	years, days := *runYears, 365
	if years == 0 {
		years, days = 9, 50
	}
	if testing.Short() {
		days = 40
	}
	for i := range years {
		rng := rand.New(rand.NewPCG(uint64(i), 99))
		what, text, story := vex(i, days, rng)
		// Nine ways and nine troubles: each way meets each trouble within 81 years.
		trouble := troubles[(i+i/9)%len(troubles)]
		trouble.make(&story)
		if *runYears > 0 {
			story.Every = 30 * time.Minute
		}
		r := runtest.Parse(t, text)
		h := judged(t, r, story, uint64(1000+i))
		if found := falseVerdicts(h); len(found) > 0 {
			wrong += len(found)
			t.Errorf("year %d, %s, %s: %v\n%s", i, what, trouble.name, found, describe(h))
		}
		for _, x := range h.Series {
			series++
			if x.Verdict == history.Unproven {
				unproven++
			}
		}
	}
	t.Logf("%d healthy runs of %d days, %d series: %d false verdicts, %d unproven, %v", years, days, series, wrong, unproven, time.Since(begin).Round(time.Second))
}
