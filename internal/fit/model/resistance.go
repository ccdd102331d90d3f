package model

import (
	"errors"
	"slices"

	"ohmkeep/internal/fit/prior"
)

// Resistance is the value of one conductor, or of two in series, as a function of the unknowns.
type Resistance struct {
	Rails       [2]int  // its unknowns; the second is Absent for one conductor
	Transformed bool    // the unknowns and the value are prior.Transform of Ω
	Unit        float64 // the value of one unit of an unknown; 1 where transformed
}

// At returns the value at x, and its derivatives by all unknowns.
func (r Resistance) At(x []float64) (value float64, row []float64) {
	a, b := r.Rails[0], r.Rails[1]
	if b != Absent && r.Transformed {
		return prior.Loop(r.Rails, x)
	}
	row = make([]float64, len(x))
	row[a] = r.Unit
	value = r.Unit * x[a]
	if b != Absent {
		row[b] = r.Unit
		value += r.Unit * x[b]
	}
	return value, row
}

// heldResistance is a resistance held at a value: one of its unknowns follows from the other.
type heldResistance struct {
	Resistance
	value     float64
	dependent int // the unknown that follows
	other     int // Absent where it follows from the value alone
}

// heldAt returns a resistance held at a value. Of two conductors the larger one at x follows from
// the other. One that is open hides the other.
func (r Resistance) heldAt(value float64, x []float64) *heldResistance {
	a, b := r.Rails[0], r.Rails[1]
	if b != Absent && x[b] > x[a] {
		a, b = b, a
	}
	if r.Transformed && value >= prior.MaxTransformed {
		b = Absent
	}
	return &heldResistance{r, value, a, b}
}

// errBelowZero reports that a conductor would be far below zero.
var errBelowZero = errors.New("a conductor is far below zero")

// minDependentOhms is the least resistance, Ω, of the dependent conductor.
const minDependentOhms = -0.1

// follow returns the dependent unknown at x and its derivative by the other one.
func (h *heldResistance) follow(x []float64) (value, slope float64, err error) {
	if h.other == Absent {
		return h.value / h.Unit, 0, nil
	}
	if !h.Transformed {
		return h.value/h.Unit - x[h.other], -1, nil
	}
	ohms := prior.ToOhms(h.value) - prior.ToOhms(x[h.other])
	if !(ohms > minDependentOhms) {
		return 0, 0, errBelowZero
	}
	value = prior.Transform(ohms)
	return value, -prior.ToOhmsSlope(x[h.other]) / prior.ToOhmsSlope(value), nil
}

// whole returns the unknowns x with the dependent one as it follows, and its derivative by the other one.
func (h *heldResistance) whole(x []float64) (full []float64, slope float64, err error) {
	full = slices.Clone(x)
	full[h.dependent], slope, err = h.follow(x)
	return full, slope, err
}

// carry adds the derivative by the dependent unknown to that by the other one, which it follows.
func (h *heldResistance) carry(row []float64, slope float64) {
	if h.other != Absent {
		row[h.other] += slope * row[h.dependent]
	}
	row[h.dependent] = 0
}
