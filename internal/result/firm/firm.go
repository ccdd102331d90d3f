// Package firm defines what is known of all sites of a firm: which needs a visit, and how parts of
// one make, batch or installer compare with others. It has values only and computes nothing.
package firm

import "time"

// Severity is how much a site needs a visit.
type Severity string

// The severities.
const (
	Failing  Severity = "failing"   // an element fails
	Silent   Severity = "silent"    // nothing was heard of one of its runs for a while
	Unproven Severity = "unproven"  // nothing fails, but something is unproven
	Sound    Severity = "sound"     // everything passes
	InRepair Severity = "in repair" // a person is there; what fails is known
)

// Severities lists all severities, the gravest first.
var Severities = []Severity{Failing, Silent, Unproven, Sound, InRepair}

// Site is a site with what is known of its runs.
type Site struct {
	ID                 int64 // of the central database; it is never used for another site
	Name, Label, Place string
	Severity           Severity
	Since              time.Time // the earliest cause of the severity; zero = not known
	Repair             time.Time // until when it is being repaired; zero = it is not
	Runs               []Run     // in the order of their names
}

// Run is a run of a site.
type Run struct {
	Name      string
	Heard     time.Time // when it last sent something; zero = never
	Arrived   time.Time // readings before it have arrived; zero = none
	Installer string
	Elements  int     // that have a verdict
	Unproven  int     // of these, unproven ones
	Causes    []Cause // what fails
}

// Sources of verdicts.
const (
	Assess = "assess"
	Drift  = "drift"
)

// Cause is an element that fails. Reels' resistances are per metre if the source is Assess.
type Cause struct {
	Source, Kind, Name, Rail, Verdict string
	Ohms, Low, High, Limit            float64   // Ω; NaN = not known
	Since                             time.Time // when it began to change; zero = not known
	Reaches                           time.Time // when it is expected to reach its limit; zero = not known
}

// FalseDiscoveryRate is the part of the differences shown that may be none.
const FalseDiscoveryRate = 0.05

// Comparison compares the elements of one make, batch or installer with all others of their kind, by
// how fast their resistance rises.
type Comparison struct {
	By          string  // what is compared: "joint type", "strip batch", "conductor", "installer"
	Group       string  // such as the batch's name
	Kind        string  // of the elements
	Runs        int     // that have such elements
	Others      int     // runs that have others
	PerYear     float64 // mean change a year of the group's runs, as a fraction of their resistance
	Difference  float64 // that mean minus that of the others
	Low, High   float64 // 95 % interval of the difference
	P           float64 // probability of a difference at least as large if there is none; NaN = too few runs
	Significant bool    // a difference is shown, at a false discovery rate of 5 %
}
