package judge

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"ohmkeep/internal/fit/model"
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
	if i := other.est.DarkReel(); i >= 0 {
		j.alternatives.dark = append(j.alternatives.dark, j.run.Reels[i].Name)
		j.alternatives.undecidedByDark = append(j.alternatives.undecidedByDark, undecided...)
		return
	}
	if swapped, more := j.differences(other); len(swapped)+len(more) > 0 {
		switch {
		case len(undecided) == 0 && !j.mayHaveMistake(other):
		case len(swapped) > 0:
			j.alternatives.swapped = addMissing(j.alternatives.swapped, swapped)
			j.alternatives.undecidedBySwap = addMissing(j.alternatives.undecidedBySwap, undecided)
		default:
			j.alternatives.other = addMissing(j.alternatives.other, more)
			j.alternatives.undecidedByOther = addMissing(j.alternatives.undecidedByOther, undecided)
		}
		return
	}
	if mine, others := j.excludedOnlyHere(other), other.excludedOnlyHere(j); mine != "" && others != "" {
		j.alternatives.excludedHere = mine
		j.alternatives.excludedThere = addMissing(j.alternatives.excludedThere, []string{others})
		j.alternatives.undecided = append(j.alternatives.undecided, undecided...)
	}
}

// differences returns what one explanation assumes and the other does not: pairs of feeds whose
// currents were exchanged, and other operator mistakes and open conductors, in words.
func (j *judgement) differences(than *judgement) (swapped, other []string) {
	for _, pair := range [2][2]*judgement{{j, than}, {than, j}} {
		for _, x := range pair[0].est.Mistakes {
			switch what, _ := j.describeMistake(x); {
			case slices.Contains(pair[1].est.Mistakes, x):
			case x.Kind == model.FeedsSwapped:
				swapped = append(swapped, j.run.Feeds[x.A].Name+" and "+j.run.Feeds[x.B].Name)
			default:
				other = append(other, what)
			}
		}
		for i := range pair[0].est.Elements {
			e := &pair[0].est.Elements[i]
			if e.Open && e.Rail == run.Loop && !pair[1].est.Elements[i].Open {
				other = append(other, fmt.Sprintf("%s %s seems to have an open conductor", kindTitle(e.Kind), j.name(e)))
			}
		}
	}
	return swapped, other
}

// mayHaveMistake reports whether another explanation has a step read in another load, or a display that
// held its value, and this one does not. It is reported though no verdict depends on it: what is read
// next would be as wrong.
func (j *judgement) mayHaveMistake(other *judgement) bool {
	return slices.ContainsFunc(other.est.Mistakes, func(x model.Mistake) bool {
		return (x.Kind == model.WrongLoad || x.Kind == model.DisplayHeld) && !slices.Contains(j.est.Mistakes, x)
	})
}

// addMissing appends to a list what is not in it yet.
func addMissing(list, more []string) []string {
	for _, x := range more {
		if !slices.Contains(list, x) {
			list = append(list, x)
		}
	}
	return list
}

// alternatives are other explanations of the readings: either of two contradicting readings may be
// wrong, a reel may be dark, the operator may have made a mistake, or a conductor may be open.
type alternatives struct {
	excludedHere             string   // by this estimate
	excludedThere, undecided []string // by the alternatives; elements that would have a verdict without the contradiction
	dark, undecidedByDark    []string // reels that may be dark; elements whose verdict depends on it
	swapped, undecidedBySwap []string // pairs of feeds whose currents may have been exchanged; the same
	other, undecidedByOther  []string // other mistakes and open conductors, in words; the same
}

// reportAlternatives reports readings that contradict each other, and what else may be where a
// verdict depends on it.
func (j *judgement) reportAlternatives() {
	a := j.alternatives
	if a.excludedHere != "" {
		text := fmt.Sprintf("Either %s is wrong, or %s: the other readings agree with either. Read them again.", a.excludedHere, strings.Join(a.excludedThere, ", or "))
		if len(a.undecided) > 0 {
			text += " Undecided until then: " + strings.Join(a.undecided, ", ") + "."
		}
		j.addFinding(assessment.Warning, "reading", text)
	}
	if len(a.swapped) > 0 {
		j.addFinding(assessment.Warning, "reading", fmt.Sprintf("The currents of feeds %s may have been written down for each other: the other readings agree with either. Read both again. Undecided until then: %s.",
			strings.Join(a.swapped, ", or "), strings.Join(a.undecidedBySwap, ", ")))
	}
	if len(a.other) > 0 {
		text := strings.Join(a.other, "; or ") + ", or not: the readings agree with either. Read some of these again."
		if len(a.undecidedByOther) > 0 {
			text += " Undecided until it is known: " + strings.Join(a.undecidedByOther, ", ") + "."
		}
		j.addFinding(assessment.Warning, "reading", text)
	}
	if len(a.undecidedByDark) > 0 {
		j.addFinding(assessment.Warning, "load", fmt.Sprintf("The pixels draw less current than the run file says, as they would if reel %s stayed dark. Look at it while it should be lit. Undecided until then: %s.",
			strings.Join(a.dark, " or "), strings.Join(a.undecidedByDark, ", ")))
	}
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
			list = append(list, lineOf(x))
		}
	}
	return strings.Join(list, " and ")
}
