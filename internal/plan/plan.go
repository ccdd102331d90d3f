// Package plan says, before anybody climbs, what to read of a run so that every joint
// and feed can be settled: the fewest steps and points that will do, in walking order,
// and what cannot be settled with the meter at hand.
//
// It expects the run to be about as its file states it, and readings to narrow what is
// known as the linear model says, whatever they show (a Bayesian design of the
// experiment; Chaloner and Verdinelli, Statistical Science 10 (1995) 273). It takes
// readings one by one for what they settle, then leaves out steps, points and readings
// that the rest can do without. That finds a plan from which nothing more can be left
// out; a smaller one of quite other readings may exist. The same run gives the same plan.
package plan

import (
	"math"

	"ohmkeep/internal/assessment"
	"ohmkeep/internal/estimate"
	"ohmkeep/internal/judge"
	"ohmkeep/internal/run"
)

// Plan is what to read.
type Plan struct {
	Run      *run.Run
	Meters   []string // it is made for
	Rounds   []Round  // in the order of the run's steps
	Points   int      // places and feeds to go to, whatever the step
	Readings int
	Elements []Element // joints and feeds in the run's order
}

// Round is one walk along the run, in one step.
type Round struct {
	Step  string
	Reads []assessment.Next // from the supplies along the reels
}

// Element is a joint or feed, and what the plan does for it.
type Element struct {
	Kind    assessment.Kind
	Name    string
	Limit   float64 // Ω; NaN where its plus is cut
	Stated  float64 // Ω, as the file states or assumes it
	Amps    float64 // the most that crosses it in any step
	Step    string  // in which that is
	Settled bool
	// Resolves is half the 95 % interval that is expected after the plan's readings, Ω;
	// Best the same after all that the meters could read. +Inf where nothing would tell.
	Resolves, Best float64
	Why            string   // it cannot be settled
	Helps          []string // what would settle it
}

// Make plans for the meters named by index into the run's. The errors are those of
// solving the run as stated.
func Make(r *run.Run, meters []int) (*Plan, error) {
	s, err := survey(r, meters)
	if err != nil {
		return nil, err
	}
	p := &Plan{Run: r}
	for _, m := range meters {
		p.Meters = append(p.Meters, r.Meters[m].Name)
	}
	chosen := s.choose()
	p.walk(s, chosen)
	p.describe(s, chosen)
	if err := p.advise(s, meters); err != nil {
		return nil, err
	}
	return p, nil
}

// Settled tells whether the plan settles everything.
func (p *Plan) Settled() bool {
	for _, e := range p.Elements {
		if !e.Settled {
			return false
		}
	}
	return true
}

// surveyed is all that could be read, and what that would tell.
type surveyed struct {
	run      *run.Run
	est      *estimate.Estimate
	outlook  *estimate.Outlook
	targets  []estimate.Target
	elements []int
	goals    []float64 // by target: variance at which it is settled
	best     []float64 // by target: variance with everything read
	list     []estimate.Candidate
	names    []assessment.Next // by candidate
	step     []int             // by candidate: of the run
	point    []int             // by candidate: where it is read, numbered
	points   int
	blank    *estimate.Expectation // nothing read yet
}

// survey lists what could be read.
func survey(r *run.Run, meters []int) (*surveyed, error) {
	est, targets, err := judge.Prospects(r)
	if err != nil {
		return nil, err
	}
	o, err := est.Outlook(meters)
	if err != nil {
		return nil, err
	}
	s := &surveyed{run: r, est: est, outlook: o, targets: targets, list: o.Candidates()}
	for _, t := range targets {
		s.elements = append(s.elements, t.Element)
		s.goals = append(s.goals, o.Goal(t, t.Sound, math.Inf(1)))
	}
	numbers := map[[2]string]int{}
	for i := range s.list {
		name := o.Name(&s.list[i])
		where := [2]string{name.From, name.To}
		if _, seen := numbers[where]; !seen {
			numbers[where] = len(numbers)
		}
		s.names = append(s.names, name)
		s.step = append(s.step, r.StepIndex(name.Step))
		s.point = append(s.point, numbers[where])
	}
	s.points = len(numbers)
	s.blank = o.Expect(s.list, s.elements)
	all := s.read(s.where(func(int) bool { return true }))
	for k := range targets {
		s.best = append(s.best, all.Variance(k))
	}
	return s, nil
}

// where lists the candidates for which keep holds.
func (s *surveyed) where(keep func(i int) bool) (list []int) {
	for i := range s.list {
		if keep(i) {
			list = append(list, i)
		}
	}
	return list
}

// within tells whether a target is known well enough at a variance: settled; or, where
// that is just out of reach, nearly as well as all readings together would have it, for it
// may turn out to be far from its limit. What is hopeless stands in no plan's way.
func (s *surveyed) within(k int, variance float64) bool {
	switch best := s.best[k]; {
	case best <= s.goals[k]:
		return variance <= s.goals[k]
	case best <= hopeful*hopeful*s.goals[k]:
		return variance <= nearly*nearly*best
	}
	return true
}

// aim is the variance that within asks for.
func (s *surveyed) aim(k int) float64 {
	if s.best[k] <= s.goals[k] {
		return s.goals[k]
	}
	return nearly * nearly * s.best[k]
}

const (
	hopeful = 2.0 // times the deviation that settles
	nearly  = 1.3 // times the deviation that all readings together leave
)
