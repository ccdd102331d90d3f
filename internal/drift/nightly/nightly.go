// Package nightly turns readings of a day into one value for each element of a run:
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
package nightly

import (
	"math"

	"ohmkeep/internal/drift/elements"
	"ohmkeep/internal/run"
)

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
	Element *elements.Element
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
	Kind run.Kind
	Name string
	Step string // "" for a slope
}

// nothing is a value that is not known.
var nothing = math.NaN()
