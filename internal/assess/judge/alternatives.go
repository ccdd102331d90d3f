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

// difference is a way in which an explanation of the readings differs from the best one.
type difference int

const (
	eitherReading    difference = iota // of readings that contradict each other, others are wrong
	doubtfulReading                    // a reading is wrong, or right, and nothing else shows it
	swappedFeeds                       // the currents of two feeds were written down for each other
	mistakeOrOpen                      // another operator mistake, or an open conductor
	otherStock                         // the copper of a reel is not as stated
	darkReel                           // a reel stays dark
	unlistedCurrent                    // something that the run file does not list feeds a reel or draws current from it
	differencesCount                   // number of kinds
)

// alternative is what the explanations of one kind have in common.
type alternative struct {
	what      []string // the differences, in words
	undecided []string // elements that would have a verdict otherwise
}

// noteAlternatives notes how the other explanations of the readings differ, and the elements that have
// no verdict because of them. Readings that may be wrong are to be taken again.
func (j *judgement) noteAlternatives() {
	for k := 1; k < len(j.explanations); k++ {
		other := j.explanations[k]
		var undecided, names []string
		for _, i := range j.undecidedBy(k) {
			e := &j.est.Elements[i]
			undecided, names = append(undecided, string(e.Kind)+" "+j.name(e)), append(names, j.name(e))
		}
		kind, what := j.compareWith(other)
		if what == nil || len(undecided) == 0 && kind != eitherReading && !j.mayHaveMistake(k) {
			continue
		}
		a := &j.alternatives[kind]
		a.what, a.undecided = addMissing(a.what, what), addMissing(a.undecided, undecided)
		for _, x := range excludedOnlyIn(other, j.est) {
			if kind <= doubtfulReading && len(names) > 0 {
				again := nextOf(x)
				again.Settles = names
				j.again = append(j.again, again)
			}
		}
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

// compareWith returns how another explanation differs from the best one, in words; nil where it makes
// no other assumption.
func (j *judgement) compareWith(other *estimate.Estimate) (kind difference, what []string) {
	if a, b := j.est.Model.UnlistedAt(), other.Model.UnlistedAt(); a != b {
		if a != model.Absent && b != model.Absent {
			return unlistedCurrent, []string{fmt.Sprintf("be at reel %s instead of reel %s", j.run.Reels[b].Name, j.run.Reels[a].Name)}
		}
		return unlistedCurrent, []string{fmt.Sprintf("feed reel %s or draw current from it, or not", j.run.Reels[max(a, b)].Name)}
	}
	if j.est.Model.Rough != other.Model.Rough {
		return mistakeOrOpen, []string{"All readings seem to be off by much more than their meters can be"}
	}
	if a, b := j.est.Assumptions.DarkReel, other.Assumptions.DarkReel; a != b {
		return darkReel, []string{j.run.Reels[max(a, b)].Name}
	}
	if swapped, more := j.differences(other); len(swapped) > 0 {
		return swappedFeeds, swapped
	} else if len(more) > 0 {
		return mistakeOrOpen, more
	}
	if a, b := j.est.Assumptions.OtherStock, other.Assumptions.OtherStock; a != b {
		return otherStock, []string{j.run.Reels[max(a, b)].Name}
	}
	mine, others := lines(excludedOnlyIn(j.est, other)), lines(excludedOnlyIn(other, j.est))
	switch {
	case mine != "" && others != "":
		return eitherReading, []string{mine, others}
	case mine+others != "":
		return doubtfulReading, []string{mine + others}
	}
	return 0, nil
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

// kindTitle returns the kind of a joint or feed as the first word of a sentence.
func kindTitle(k run.Kind) string {
	if k == run.KindFeed {
		return "Feed"
	}
	return "Joint"
}

// mayHaveMistake reports whether explanation k has an operator mistake that the best one does not, and is
// probable enough to be named. The mistake is reported though no verdict depends on it: what is read next
// would be as wrong.
func (j *judgement) mayHaveMistake(k int) bool {
	return j.weights[k] >= minNamed && slices.ContainsFunc(j.explanations[k].Mistakes, func(x model.Mistake) bool {
		return !slices.Contains(j.est.Mistakes, x)
	})
}

// minNamed is the least probability of a mistake that is named though no verdict depends on it
// (common practice, no source). Neighbouring readings of a coarse display are often equal.
const minNamed = 0.05

// addMissing appends to a list what is not in it yet.
func addMissing(list, more []string) []string {
	for _, x := range more {
		if !slices.Contains(list, x) {
			list = append(list, x)
		}
	}
	return list
}

// reportAlternatives reports how other explanations differ.
func (j *judgement) reportAlternatives() {
	for kind, a := range j.alternatives {
		if len(a.what) == 0 {
			continue
		}
		what, subject, text := strings.Join(a.what, ", or "), "reading", ""
		switch difference(kind) {
		case eitherReading:
			text = fmt.Sprintf("Either %s is wrong, or %s: the other readings agree with either. Read them again.", a.what[0], strings.Join(a.what[1:], ", or "))
		case doubtfulReading:
			text = fmt.Sprintf("The other readings agree with %s being right, and with it being wrong. Read it again, or in another step.", what)
		case swappedFeeds:
			text = fmt.Sprintf("The currents of feeds %s may have been written down for each other: the other readings agree with either. Read both again.", what)
			if slices.ContainsFunc(j.est.Mistakes, func(x model.Mistake) bool { return x.Kind == model.FeedsSwapped }) {
				text = fmt.Sprintf("It is not certain that the currents of feeds %s were written down for each other: the other readings agree with them as they are, too. Read both again.", what)
			}
		case mistakeOrOpen:
			text = strings.Join(a.what, "; or ") + ", or not: the readings agree with either. Read some of these again."
		case otherStock:
			subject, text = "reel "+a.what[0], fmt.Sprintf("The copper of reel %s may be another than the run file states, as that of another production batch, or not: the readings agree with either. Read more places along it.", what)
		case unlistedCurrent:
			subject, text = "fit", fmt.Sprintf("Something that is not in the run file may %s: the readings agree with either. Look there, and read the voltages and currents beside it.", what)
		case darkReel:
			subject, text = "load", fmt.Sprintf("The pixels draw less current than the run file says, as they would if reel %s stayed dark. Look at it while it should be lit.", strings.Join(a.what, " or "))
		}
		if len(a.undecided) > 0 {
			text += " Undecided until then: " + strings.Join(a.undecided, ", ") + "."
		}
		j.addFinding(assessment.Warning, subject, text)
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
