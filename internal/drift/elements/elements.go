// Package elements finds the elements of a run between sensed places, and the composition of
// the drop of each: the volts for each ampere of each measured feed current.
//
// An element is a feed, a joint, a reel, or the longer path that lies between two sensed
// places. The current in each joint and segment follows from Kirchhoff's current law: the load
// beyond it less the feed currents beyond it. The load is distributed as in the solution of a
// step as the run file states it; its size is measured.
package elements

import (
	"math"

	"ohmkeep/internal/run"
)

// Element is a part of a run whose resistance can be followed.
type Element struct {
	Kind     run.Kind
	Name     string
	From, To run.Place
	Nominal  float64 // Ω loop at 20 °C, as the run file states
	Wire     float64 // Ω, the part of Nominal that varies with temperature as copper does
	Stated   bool    // Wire is stated, not assumed
	Limit    float64 // Ω; NaN = none
	Ring     bool    // current reaches it from more than one feed

	Feed   int // its only edge is this feed, or -1
	Joints int // how many joints lie in it
	Edges  []Edge
	// The composition of the drop in each step of the run, and with all pixels dark.
	Steps []Composition
	Dark  Composition
}

// Composition is the composition of the drop of an element in one step, as weights of the feed currents.
type Composition struct {
	Copper  Weights // V per A at 20 °C, of copper
	Warming Weights // V per A and K
	Contact Weights // V per A, of contacts
	Through Weights // A per A: the current through the element
	Known   bool    // its current follows from measured ones
}

// Expected returns the drop, V, of the stated resistances at measured currents.
func (m *Composition) Expected(amps []float64, celsius float64) float64 {
	return m.Copper.Of(amps) + m.Warming.Of(amps)*(celsius-20) + m.Contact.Of(amps)
}

// Weights are factors of the feed currents, by feed.
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

// unknown is NaN, an unknown value.
var unknown = math.NaN()
