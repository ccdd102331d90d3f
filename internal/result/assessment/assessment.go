// Package assessment defines the result of fitting and judging the readings of a run, from
// which every table, picture and file is made. It has values only and computes nothing.
//
// All values are SI. Resistances are at 20 °C; those of reels are per metre.
package assessment

import (
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// Assessment is the outcome of one set of readings of one run.
type Assessment struct {
	Run      *run.Run
	Verdict  Verdict // the worst of its elements': Fail, then Unproven, then Pass
	Unread   bool    // no voltage or current was used: all values are those of the run file, and Fit has not converged
	Doubtful bool    // the run file alone does not explain the readings, or the fit has not converged
	Doubt    string  // what contradicts the run file or the fit, in words; "" = nothing
	Fit      Fit
	Elements []Element
	Readings []Reading
	Next     []Next
	Findings []Finding
	Profiles []Profile // the fitted run, one profile for each step with readings
}

// Fit reports how well the model explains the readings.
type Fit struct {
	Converged        bool
	ChiSquared       float64
	DegreesOfFreedom int
	PValue           float64 // probability of a chi-squared at least as large if the model is right; NaN without readings
}

// Verdict is the result of comparing an element with its limit. None is for an element without
// a limit.
type Verdict string

const (
	Pass     Verdict = "pass"
	Fail     Verdict = "fail"
	Unproven Verdict = "unproven"
	None     Verdict = ""
)

// Element is one estimated resistance and what it means.
type Element struct {
	Kind run.Kind
	Name string
	Rail run.Rail

	Ohms                 float64 // best estimate; +Inf = open. Per metre for a reel, the output resistance for a supply
	Low, High            float64 // 95 % interval, all meter errors included; High +Inf = no upper bound. Low is never below 0
	Limit                float64 // NaN where it has none
	ProbabilityOverLimit float64 // probability that the resistance is above Limit; NaN where it has none
	Verdict              Verdict
	Known                bool    // false: the readings do not determine it, and Ohms is mostly what was assumed
	BehavesLike          string  // possible cause of a feed's high resistance, such as a thinner wire; "" otherwise
	Amps                 float64 // A, largest current through it in the steps with readings
	Watts                float64 // W, heat at that current
}

// Open reports whether the element is an open conductor: its resistance is above 1 GΩ.
func (e Element) Open() bool { return e.Ohms > 1e9 }

// Reading is one reading with the value that the fitted run predicts for it.
type Reading struct {
	reading.Reading
	Predicted    float64 // SI
	Residual     float64 // measured minus predicted
	Standardised float64 // residual over its standard deviation
	Suspect      bool    // contradicts the other readings
	Used         bool    // was used in the fit
	Mistaken     bool    // belongs to an operator mistake in several readings, which is reported once
	Note         string  // why it was not used, or the likely mistake in it
}

// Next is a proposed reading that would decide the verdict of some elements.
type Next struct {
	Quantity run.Quantity
	From, To string
	Step     string
	Meter    string   // the meter to use
	Lead     float64  // m, length of lead that is needed to read along one conductor; 0 = no long lead
	Settles  []string // names of the elements that it decides, together with the readings before it in the list
}

// Severity ranks findings.
type Severity string

const (
	Failing Severity = "fail"
	Warning Severity = "warning"
	Notice  Severity = "notice"
)

// Finding is one result for the installer.
type Finding struct {
	Severity Severity
	Subject  string // such as "joint west-north"
	Text     string
}

// Profile is the fitted run in one step.
type Profile struct {
	Step  string
	Reels []ReelProfile // in the order of the run
}

// ReelProfile holds the potentials along one reel against the first supply's minus
// terminal, one entry a pixel.
type ReelProfile struct {
	Name        string
	Plus, Minus []float64 // V
	Band        []float64 // V, half the 95 % band of the pair voltage; nil = not computed
}
