// Package series turns readings of a day into one value for each element of a run:
// the resistance, at 20 °C, of every feed, joint, reel or longer path between two
// places where the pair voltage is sensed.
//
// A feed's resistance is the slope of its drop over its current, whatever the run
// shows; the offset, which two sensors with different gains make, is a nuisance. All
// else is judged in known steps only. There the current in each joint and segment
// follows from the measured feed currents and the shares of the load that the step's
// model gives, so that ageing pixels, a sagging supply and warm copper do not raise
// a resistance; what the drop has beyond the nominal is the element's excess. Its
// level is only as good as the sensors' gains, its changes are far better.
//
// Rounds in which all pixels are dark, as their idle current shows, tell what two
// sensors differ by. Rounds of unknown load never touch an element's value; they show
// only bursts, which are drops that no picture explains.
//
// The package keeps nothing from one day to the next but the names of the places
// that were sensed.
package series

import (
	"math"

	"ohmkeep/internal/assessment"
	"ohmkeep/internal/run"
)

// Element is one thing whose resistance can be followed.
type Element struct {
	Kind     assessment.Kind
	Name     string
	From, To run.Place
	Nominal  float64 // Ω loop at 20 °C, as the run file has it
	Wire     float64 // Ω of that which follow the temperature
	Stated   bool    // the copper's part is stated, not assumed
	Limit    float64 // Ω; NaN = none
	Ring     bool    // current reaches it from more than one feed

	feed   int // its only edge is this feed, or -1
	joints int // how many joints lie in it
	edges  []edge
	// What the drop is made of in each step, and where all is dark: see weigh.
	steps []makeup
	dark  makeup
}

// makeup is the drop of an element in one step, each a weight on the feed currents.
type makeup struct {
	copper  weights // V per A at 20 °C that follow temperature
	warming weights // V per A and K
	contact weights // V per A that do not
	through weights // A per A: the current that its excess is divided by
	known   bool    // false: no current was measured that could tell
}

// expected is the drop that the run file leads to at measured currents.
func (m *makeup) expected(amps []float64, celsius float64) float64 {
	return m.copper.of(amps) + m.warming.of(amps)*(celsius-20) + m.contact.of(amps)
}

// weights weigh the currents of the feeds, by index.
type weights []float64

func (w weights) of(amps []float64) (sum float64) {
	for i, x := range w {
		if x != 0 {
			sum += x * amps[i]
		}
	}
	return sum
}

func (w weights) add(by float64, o weights) {
	for i, x := range o {
		w[i] += by * x
	}
}

// Value is one night's resistance of an element.
type Value struct {
	Ohms  float64
	Error float64 // standard deviation of what differs from night to night
	Shift float64 // Ω, standard deviation of what all nights have in common
	Warm  bool    // a temperature was read
}

// Night is what a day's readings tell of one element.
type Night struct {
	Key     Key
	Element *Element
	Day     int64 // since 1970, UTC
	At      int64 // s since 1970, of the readings' middle
	Meters  string
	Value   Value
	Drop    float64 // V beyond the nominal, what Value rests on; NaN for a slope
	Amps    float64 // A, what Drop is divided by
	Offset  float64 // V beyond the nominal where all is dark, or at no current for a slope; NaN = not known
	Wobble  float64 // V, its standard deviation
	Idle    float64 // A through the element then
	Samples int     // all that could have shown a burst
	Bursts  int
	Burst   float64 // Ω, median rise in the bursts
	First   int64   // s since 1970, of the first burst
	Valid   bool    // Value holds something
}

// Key names a series. A feed has two: by its slope and in known steps.
type Key struct {
	Kind assessment.Kind
	Name string
	Step string // "" for a slope
}

// nothing is a value that is not known.
var nothing = math.NaN()
