// Package history holds what became of a run's resistances over the years: one
// value that every table, picture and file about drift is a function of. It
// holds values and computes none of them.
//
// All values are SI and at 20 °C; a reel's resistance is that of all its copper.
package history

import (
	"time"

	"ohmkeep/internal/run"
)

// History holds the results of the stored readings of a run.
type History struct {
	Run    *run.Run
	Series []Series
	Last   time.Time // of the newest reading; zero = there are none
	Check  time.Time // of the newest reading in a known step; zero = no such reading
}

// Verdict is what an element does.
type Verdict string

const (
	Steady       Verdict = "steady"
	Drifting     Verdict = "drifting"
	Stepped      Verdict = "stepped"
	Intermittent Verdict = "intermittent"
	Unproven     Verdict = "unproven"
)

// Verdicts are all of them, the gravest first.
var Verdicts = []Verdict{Intermittent, Drifting, Stepped, Unproven, Steady}

// Shape is what a change looks like.
type Shape string

const (
	Step  Shape = "step"
	Ramp  Shape = "ramp"
	Burst Shape = "intermittent"
)

// Series is one element over time.
type Series struct {
	Kind        run.Kind
	Name        string
	Rail        run.Rail
	First, Last time.Time
	Ohms        float64 // the latest level; NaN = not known
	Low, High   float64 // 95 %, all errors of the sensors included
	// The latest stretch without a change, Ω a year, 95 %; NaN and infinite where so
	// few nights cannot tell.
	PerYear, PerYearLow, PerYearHigh float64
	Changes                          []Change
	Marks                            []Mark
	Limit                            float64 // NaN = it has none
	Reaches                          Forecast
	Verdict                          Verdict
	TemperatureRead                  bool   // a temperature was read with it
	Why                              string // what is missing, where unproven
	Nights                           []Night
	Stretches                        []Stretch
}

// Stretch is the straight course between two changes.
type Stretch struct {
	From, To   time.Time
	Begin, End float64 // Ω
}

// Change is one change that was called.
type Change struct {
	Time time.Time // when it began
	// The 95 % interval of Time; zero = not known, as of bursts.
	Earliest, Latest time.Time
	Detected         time.Time // the night after which it was called
	Shape            Shape
	Before, After    float64 // Ω; of bursts the level and the median of the bursts
}

// Mark is the beginning of a new stretch that is no change of the element.
type Mark struct {
	Time   time.Time
	Text   string  // what was noted, or what was replaced
	Before float64 // Ω: the levels on both sides; NaN = not known
	After  float64
}

// Forecast is when the limit is reached. The zero time means not within ten years or unknown; Text
// gives the reason.
type Forecast struct {
	Earliest, Likely, Latest time.Time
	Text                     string
}

// Night is one night's value of an element.
type Night struct {
	Time    time.Time
	Ohms    float64
	Error   float64 // standard deviation, from night to night
	Outlier bool    // contradicts the nights beside it
}
