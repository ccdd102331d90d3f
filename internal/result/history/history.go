// Package history defines the result of analysing a run's stored readings for drift, from
// which every table, picture and file about drift is made. It has values only and computes
// nothing.
//
// All values are SI and at 20 °C. A reel's resistance is that of all its copper, not per metre.
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

// Verdict is how an element's resistance behaves over time. Jumped is "stepped" in JSON.
type Verdict string

const (
	Steady       Verdict = "steady"
	Drifting     Verdict = "drifting"
	Jumped       Verdict = "stepped"
	Intermittent Verdict = "intermittent"
	Unproven     Verdict = "unproven"
)

// Verdicts lists all verdicts, the most serious first.
var Verdicts = []Verdict{Intermittent, Drifting, Jumped, Unproven, Steady}

// Shape is the form of a change: a sudden jump (Jump, "step" in JSON), a ramp, or bursts.
type Shape string

const (
	Jump  Shape = "step"
	Ramp  Shape = "ramp"
	Burst Shape = "intermittent"
)

// Series is one element over time.
type Series struct {
	Kind        run.Kind
	Name        string
	Rail        run.Rail
	First, Last time.Time
	Ohms        float64 // Ω, the latest level; NaN = not known
	Low, High   float64 // Ω, 95 % interval, all errors of the sensors included
	// Slope of the latest stretch without a change and its 95 % interval, Ω per year. With too
	// few nights PerYear is NaN and the interval infinite.
	PerYear, PerYearLow, PerYearHigh float64
	Changes                          []Change
	Marks                            []Mark
	Limit                            float64 // Ω; NaN = it has none
	Reaches                          Forecast
	Verdict                          Verdict
	TemperatureRead                  bool   // a temperature was read with it
	Why                              string // what is missing, if unproven
	Nights                           []Night
	Stretches                        []Stretch
}

// Stretch is the straight line fitted between two changes.
type Stretch struct {
	From, To   time.Time
	Begin, End float64 // Ω
}

// Change is one detected change.
type Change struct {
	Time time.Time // when it began
	// The 95 % interval of Time; zero = not known, as for bursts.
	Earliest, Latest time.Time
	Detected         time.Time // the night after which it was detected
	Shape            Shape
	Before, After    float64 // Ω; for bursts the level without them and their median
}

// Mark begins a new stretch without a change of the element: a note or a replacement.
type Mark struct {
	Time   time.Time
	Text   string  // what was noted, or what was replaced
	Before float64 // Ω, level before it; NaN = not known
	After  float64 // Ω, level after it; NaN = not known
}

// Forecast is when the limit is expected to be reached. The zero time means not within ten years,
// or unknown; Text gives the reason.
type Forecast struct {
	Earliest, Likely, Latest time.Time
	Text                     string
}

// Night is one night's value of an element.
type Night struct {
	Time    time.Time
	Ohms    float64
	Error   float64 // Ω, standard deviation from night to night
	Outlier bool    // contradicts the neighbouring nights
}
