// Package nightly turns a day's readings into one value for each element of a run: the
// resistance, at 20 °C, of every feed, joint, reel or longer path between two places
// where the pair voltage is read.
//
// The resistance of a feed is the slope of its drop over its current, at any load. The intercept
// comes from the two sensors' errors and is not used. All other elements are evaluated in known
// load steps only. There the current in each joint and
// segment follows from the measured feed currents and from the shares of the load that
// the network's solution gives, so that ageing pixels, a sagging supply and warm copper do
// not look like a resistance. The excess is the drop less the nominal drop, divided by that
// current. Its level is only as accurate as the sensors' gains; its changes are known far
// better.
//
// Rounds in which all pixels are dark, as their idle current shows, give the difference of
// two sensors. Without it the level of a joint is uncertain by 10 mΩ and more. Rounds of
// unknown load give no value. They show only bursts: drops that no load explains.
//
// The noise of the drops is learned from the day's own residuals and grows with the load. A
// steady current marks a step only on days on which no reading names one.
//
// A day is read reading by reading, and its scans are thinned where they are many, so
// that its memory does not grow with the rate. From one day to the next the package keeps
// only the names of the places and feeds that were read.
package nightly

import (
	"math"

	"ohmkeep/internal/drift/elements"
	"ohmkeep/internal/run"
)

// Value is one night's resistance of an element.
type Value struct {
	Ohms            float64
	Error           float64 // Ω, standard deviation that differs from night to night
	CommonError     float64 // Ω, standard deviation that all nights share: the sensors' gains
	TemperatureRead bool    // a temperature was read
}

// Night is the evaluation of one element over a day.
type Night struct {
	Key         Key
	Element     *elements.Element
	Day         int64  // since 1970, UTC
	At          int64  // s since 1970, of the middle reading
	Meters      string // the meters it was read with, joined by |
	Value       Value
	Drop        float64 // V above the nominal drop, from which Value is computed; NaN for a slope
	Amps        float64 // A, what Drop is divided by
	Offset      float64 // V above the nominal drop with all pixels dark, or the intercept of a slope; NaN = not known
	OffsetError float64 // V, its standard deviation
	DarkAmps    float64 // A, through the element with all pixels dark
	Samples     int     // scans that could have shown a burst
	Bursts      int     // scans in which the contact failed
	BurstRise   float64 // Ω, median rise in the bursts; NaN = none
	FirstBurst  int64   // s since 1970; 0 = none
	Valid       bool    // Value holds a resistance
}

// Key names a series. A feed has two: by its slope and in known steps.
type Key struct {
	Kind run.Kind
	Name string
	Step string // "" for a slope
}

// unknown is NaN, an unknown value.
var unknown = math.NaN()
