// Package plan lists, before any reading is taken, what to read of a run so that every joint
// and feed can be settled: the fewest steps and points that suffice, in walking order,
// and what cannot be settled with the meter at hand.
//
// It looks at the run as its file states it and at one with bad joints and feeds, since
// a plan must settle both. The reduction of the covariance by readings follows from the linear
// model, because it does not depend on their values (Bayesian experimental design; Chaloner and
// Verdinelli, Statistical Science 10 (1995) 273). The package takes readings one by one by their
// gain, then removes steps, points and readings that are not needed. No reading of the resulting
// plan can be left out; a smaller plan of other readings may exist. The same run gives the same
// plan.
package plan

import (
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// Plan is what to read.
type Plan struct {
	Run      *run.Run
	Meters   []string // it is made for
	Rounds   []Round  // in the order of the run's steps
	Points   int      // number of places and feeds to visit, in any step
	Readings int
	Elements []Element // joints and feeds in the run's order
	Warnings []string  // dangers to mend before anything is read
}

// Round is one walk along the run, in one step.
type Round struct {
	Step  string
	Reads []assessment.Next // from the supplies along the reels
}

// Element is a joint or feed, and the result that the plan is expected to give for it.
type Element struct {
	Kind    run.Kind
	Name    string
	Limit   float64 // Ω; NaN where its plus is cut
	Stated  float64 // Ω, as the file states or assumes it
	Amps    float64 // A, the greatest current through it in any step
	Step    string  // that has this current
	Settled bool
	// HalfWidth is half the 95 % interval that is expected after the plan's readings, Ω;
	// BestHalfWidth the same after all that the meters could read. +Inf where that leaves it undetermined.
	HalfWidth, BestHalfWidth float64
	Why                      string   // the reason why it cannot be settled
	Remedies                 []string // what would settle it
}

// Make plans for the meters named by index into the run's. The errors are those of solving the run as
// stated.
func Make(r *run.Run, meters []int) (*Plan, error) {
	s, err := newPlanner(r, meters)
	if err != nil {
		return nil, err
	}
	p := &Plan{Run: r, Warnings: r.ParallelWarnings()}
	for _, m := range meters {
		p.Meters = append(p.Meters, r.Meters[m].Name)
	}
	chosen := s.chooseVerified()
	p.walk(s, chosen)
	p.describe(s, chosen)
	if err := p.advise(s, meters); err != nil {
		return nil, err
	}
	return p, nil
}

// Settled reports whether the plan settles everything.
func (p *Plan) Settled() bool {
	for _, e := range p.Elements {
		if !e.Settled {
			return false
		}
	}
	return true
}
