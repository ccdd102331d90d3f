package judge

import (
	"fmt"
	"math"
	"strings"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// withdrawUnconfirmed withdraws what an alternative, which excludes other readings, does not
// confirm: differing verdicts become unproven, and intervals cover both.
func (j *judgement) withdrawUnconfirmed(other *judgement) {
	var undecided []string
	for i := range j.out.Elements {
		x := &j.out.Elements[i]
		y := other.matching(x)
		if y == nil {
			y = &assessment.Element{Verdict: assessment.Unproven, High: math.Inf(1), Ohms: x.Ohms, ProbabilityOverLimit: math.NaN()}
		}
		differs := y.Verdict != x.Verdict || y.Ohms < x.Low || y.Ohms > x.High
		if differs {
			x.Low, x.High = math.Min(x.Low, y.Low), math.Max(x.High, y.High)
		}
		if y.Verdict == x.Verdict || math.IsNaN(x.Limit) {
			continue
		}
		if x.Verdict != assessment.Unproven && x.Rail == run.Loop {
			undecided = append(undecided, string(x.Kind)+" "+x.Name)
		}
		if !math.IsNaN(x.ProbabilityOverLimit) && math.Abs(y.ProbabilityOverLimit-0.5) < math.Abs(x.ProbabilityOverLimit-0.5) {
			x.ProbabilityOverLimit = y.ProbabilityOverLimit
		}
		x.Verdict = assessment.Unproven
	}
	for i := range j.out.Elements { // no conductor fails without its loop
		x := &j.out.Elements[i]
		if x.Verdict != assessment.Fail || x.Rail == run.Loop || j.isCutJoint(*x) {
			continue
		}
		loop := *x
		loop.Rail = run.Loop
		if y := j.matching(&loop); y != nil && y.Verdict != assessment.Fail {
			x.Verdict = assessment.Unproven
		}
	}
	if mine, others := j.excludedOnlyHere(other), other.excludedOnlyHere(j); mine != "" && others != "" {
		j.alternatives.excludedHere = mine
		j.alternatives.excludedThere = append(j.alternatives.excludedThere, others)
		j.alternatives.undecided = append(j.alternatives.undecided, undecided...)
	}
}

// alternatives are readings that contradict each other, either of which may be wrong.
type alternatives struct {
	excludedHere             string   // by this estimate
	excludedThere, undecided []string // by the alternatives; elements that would have a verdict without the contradiction
}

// reportAlternatives reports readings that contradict each other.
func (j *judgement) reportAlternatives() {
	if j.alternatives.excludedHere == "" {
		return
	}
	text := fmt.Sprintf("Either %s is wrong, or %s: the other readings agree with either. Read them again.", j.alternatives.excludedHere, strings.Join(j.alternatives.excludedThere, ", or "))
	if len(j.alternatives.undecided) > 0 {
		text += " Undecided until then: " + strings.Join(j.alternatives.undecided, ", ") + "."
	}
	j.addFinding(assessment.Warning, "reading", text)
}

// matching finds the same element of another estimate, nil without one.
func (j *judgement) matching(x *assessment.Element) *assessment.Element {
	for i := range j.out.Elements {
		if y := &j.out.Elements[i]; y.Kind == x.Kind && y.Name == x.Name && y.Rail == x.Rail {
			return y
		}
	}
	return nil
}

// excludedOnlyHere names the readings that this estimate excludes and the other does not.
func (j *judgement) excludedOnlyHere(other *judgement) string {
	var list []string
	for i, x := range j.out.Readings {
		if x.Suspect && !other.out.Readings[i].Suspect {
			list = append(list, fmt.Sprintf("line %d (%s, %q)", x.Row, between(x), x.Step))
		}
	}
	return strings.Join(list, " and ")
}
