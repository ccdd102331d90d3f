package judge

import (
	"fmt"
	"slices"
	"strings"

	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// noteAlternatives notes what the other explanations of the readings are, and the elements that have no
// verdict because of them.
func (j *judgement) noteAlternatives() {
	for k := 1; k < len(j.explanations); k++ {
		j.noteAlternative(j.explanations[k], j.undecidedBy(k))
	}
}

// undecidedBy lists the loops that have no verdict, would have one by the best explanation alone, and
// not the same by explanation k.
func (j *judgement) undecidedBy(k int) (elements []int) {
	for _, i := range j.unproven() {
		m, e := j.mixtures[i], &j.est.Elements[i]
		by := func(k int) assessment.Verdict {
			return j.rule.Judge(m[k].ProbabilityAbove(e.Scale(j.limit(e))), j.explanations[k].Elements[i].Known)
		}
		if best := by(0); best != assessment.Unproven && best != by(k) {
			elements = append(elements, i)
		}
	}
	return elements
}

// noteAlternative notes another explanation, with the elements that it leaves undecided.
func (j *judgement) noteAlternative(other *estimate.Estimate, elements []int) {
	var undecided, names []string
	for _, i := range elements {
		e := &j.est.Elements[i]
		undecided, names = append(undecided, string(e.Kind)+" "+j.name(e)), append(names, j.name(e))
	}
	if i := other.DarkReel(); i >= 0 {
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
	mine, others := excludedOnlyIn(j.est, other), excludedOnlyIn(other, j.est)
	switch {
	case len(mine) > 0 && len(others) > 0:
		j.alternatives.excludedHere = lines(mine)
		j.alternatives.excludedThere = addMissing(j.alternatives.excludedThere, []string{lines(others)})
		j.alternatives.undecided = addMissing(j.alternatives.undecided, undecided)
	case len(undecided) > 0:
		j.alternatives.doubtful = addMissing(j.alternatives.doubtful, []string{lines(append(mine, others...))})
		j.alternatives.undecidedByDoubtful = addMissing(j.alternatives.undecidedByDoubtful, undecided)
	}
	for _, x := range others {
		if len(names) > 0 {
			again := nextOf(x)
			again.Settles = names
			j.again = append(j.again, again)
		}
	}
}

// differences returns what one explanation assumes and the other does not: pairs of feeds whose
// currents were exchanged, and other operator mistakes and open conductors, in words.
func (j *judgement) differences(than *estimate.Estimate) (swapped, other []string) {
	for _, pair := range [2][2]*estimate.Estimate{{j.est, than}, {than, j.est}} {
		for _, x := range pair[0].Mistakes {
			switch what, _ := j.describeMistake(x); {
			case slices.Contains(pair[1].Mistakes, x):
			case x.Kind == model.FeedsSwapped:
				swapped = append(swapped, j.run.Feeds[x.A].Name+" and "+j.run.Feeds[x.B].Name)
			default:
				other = append(other, what)
			}
		}
		for i := range pair[0].Elements {
			e := &pair[0].Elements[i]
			if e.Open && e.Rail == run.Loop && !pair[1].Elements[i].Open {
				other = append(other, fmt.Sprintf("%s %s seems to have an open conductor", kindTitle(e.Kind), j.name(e)))
			}
		}
	}
	return swapped, other
}

// mayHaveMistake reports whether another explanation has a step read in another load, or a display that
// held its value, and the best one does not. It is reported though no verdict depends on it: what is
// read next would be as wrong.
func (j *judgement) mayHaveMistake(other *estimate.Estimate) bool {
	return slices.ContainsFunc(other.Mistakes, func(x model.Mistake) bool {
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
	doubtful                 []string // readings that may be wrong or right, and nothing else tells
	undecidedByDoubtful      []string // elements whose verdict depends on it
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
	if len(a.doubtful) > 0 {
		j.addFinding(assessment.Warning, "reading", fmt.Sprintf("The other readings agree with %s being right, and with it being wrong. Read it again, or in another step. Undecided until then: %s.",
			strings.Join(a.doubtful, ", or "), strings.Join(a.undecidedByDoubtful, ", ")))
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

// excludedOnlyIn lists the readings that one estimate excludes and another does not.
func excludedOnlyIn(one, other *estimate.Estimate) (list []assessment.Reading) {
	for i, x := range one.Readings {
		if x.Suspect && !other.Readings[i].Suspect {
			list = append(list, x)
		}
	}
	return list
}

// lines names readings.
func lines(list []assessment.Reading) string {
	var names []string
	for _, x := range list {
		names = append(names, lineOf(x))
	}
	return strings.Join(names, " and ")
}
