// Package assessment holds what is known of a run after its readings were
// fitted and judged: one value that every table, picture and file is a function
// of. It holds values and computes none of them.
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
	Verdict  Verdict // the gravest of its elements: Fail, then Unproven, then Pass
	Unread   bool    // no voltage or current took part: all values are those of the run file, and Fit has not converged
	Doubtful bool    // the fit does not explain the readings, so nothing passes
	Doubt    string  // what contradicts the run file although the fit converged; "" = nothing
	Fit      Fit
	Elements []Element
	Readings []Reading
	Next     []Next
	Findings []Finding
	Profiles []Profile // the fitted run, a profile a step that was read
}

// Fit reports how well the model explains the readings.
type Fit struct {
	Converged        bool
	ChiSquared       float64
	DegreesOfFreedom int
	PValue           float64 // probability of so large a chi-squared when the model is right; NaN of a fit to nothing
}

// Verdict is the answer to a limit. None is for an element that has no limit.
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
	Known                bool    // false: too little was read to know it, Ohms is only what was assumed
	BehavesLike          string  // what an excessive feed behaves like, "" otherwise
	Amps                 float64 // greatest current through it in the steps read
	Watts                float64 // what it dissipates then
}

// Open reports whether the element conducts nothing.
func (e Element) Open() bool { return e.Ohms > 1e9 }

// Reading is one reading beside what the fitted run predicts for it.
type Reading struct {
	reading.Reading
	Predicted    float64 // SI
	Residual     float64 // measured minus predicted
	Standardised float64 // residual over its standard deviation
	Suspect      bool    // contradicts the others
	Used         bool    // took part in the fit
	Note         string  // why not, or what it looks like
}

// Next is a reading that would settle something.
type Next struct {
	Quantity run.Quantity
	From, To string
	Step     string
	Meter    string   // the best suited one
	Lead     float64  // m, the lead that it takes to read along one conductor; 0 = none
	Settles  []string // names of elements, if the readings before it in the list are taken too
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

// ReelProfile is the potentials along one reel against the first supply's minus
// terminal, one entry a pixel.
type ReelProfile struct {
	Name        string
	Plus, Minus []float64 // V
	Band        []float64 // V, half the 95 % band of the pair voltage; nil = not computed
}
