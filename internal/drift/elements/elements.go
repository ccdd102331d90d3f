// Package elements finds the elements of a run that sensed places tell apart, and what
// the drop of each is made of: how many volts of it each measured feed current makes.
//
// An element is a feed, a joint, a reel, or the longer path that lies between two sensed
// places. The current in each joint and segment is Kirchhoff's: what the load beyond it
// takes less what the feeds beyond it give. The load's shares are those of the network's
// solution of a step as the run file states it; its size is what is measured.
package elements

import (
	"math"

	"ohmkeep/internal/run"
)

// Element is one thing whose resistance can be followed.
type Element struct {
	Kind     run.Kind
	Name     string
	From, To run.Place
	Nominal  float64 // Ω loop at 20 °C, as the run file has it
	Wire     float64 // Ω of that which follow the temperature
	Stated   bool    // the copper's part is stated, not assumed
	Limit    float64 // Ω; NaN = none
	Ring     bool    // current reaches it from more than one feed

	Feed   int // its only edge is this feed, or -1
	Joints int // how many joints lie in it
	Edges  []Edge
	// What the drop is made of in each step of the run, and where all is dark.
	Steps []Makeup
	Dark  Makeup
}

// Makeup is the drop of an element in one step, each a weight on the feed currents.
type Makeup struct {
	Copper  Weights // V per A at 20 °C that follow temperature
	Warming Weights // V per A and K
	Contact Weights // V per A that do not
	Through Weights // A per A: the current that its excess is divided by
	Known   bool    // false: no current was measured that could tell
}

// Expected is the drop that the run file leads to at measured currents.
func (m *Makeup) Expected(amps []float64, celsius float64) float64 {
	return m.Copper.Of(amps) + m.Warming.Of(amps)*(celsius-20) + m.Contact.Of(amps)
}

// Weights weigh the currents of the feeds, by index.
type Weights []float64

// Of returns the weighted sum of currents.
func (w Weights) Of(amps []float64) (sum float64) {
	for i, x := range w {
		if x != 0 {
			sum += x * amps[i]
		}
	}
	return sum
}

func (w Weights) add(by float64, o Weights) {
	for i, x := range o {
		w[i] += by * x
	}
}

// nothing is a value that is not known.
var nothing = math.NaN()
