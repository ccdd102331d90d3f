package judge

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// doubtPValue is the p-value below which a finding states that the readings agree badly. It decides
// nothing: the intervals are wider for it. One healthy run in two hundred comes that low by chance.
const doubtPValue = 0.005

// notConverged is what contradicts a fit that has not converged.
const notConverged = "The calculation found no stable answer (the fit did not converge)"

// doubt states what contradicts the run file; "" if nothing does. No verdict follows from it: those of
// the elements follow from their distributions over all explanations.
func (j *judgement) doubt() string {
	below := j.belowZero(j.est)
	switch fit := j.est.Fit; {
	case j.out.Unread:
		return ""
	case !fit.Converged:
		return notConverged
	case j.est.Model.UnlistedAt() != model.Absent:
		return j.unlistedText()
	case below != nil:
		conductor := ""
		if below.Rail != run.Loop {
			conductor = fmt.Sprintf(", its %s conductor,", below.Rail)
		}
		return fmt.Sprintf("%s %s%s seems to have a negative resistance, which is impossible", kindTitle(below.Kind), j.name(below), conductor)
	case j.est.Model.Rough:
		return "Most readings differ from any run by much more than their meters can be off"
	case fit.PValue < doubtPValue:
		return fmt.Sprintf("No resistances explain the readings within the errors of the meters (p = %.1g)", fit.PValue)
	}
	return ""
}

// differs reports whether the run is not as its file says, by an explanation of the readings: something
// unlisted feeds it or draws current from it, which may join other places than the explanation supposes,
// or an element is far below zero.
func (j *judgement) differs(x *estimate.Estimate) bool {
	return x.Model.UnlistedAt() != model.Absent || j.belowZero(x) != nil
}

// negativeSigmas is how many standard deviations below zero a joint, feed or conductor must be
// estimated to contradict the run file.
const negativeSigmas = 4.0

// belowZero returns a joint, feed or conductor that an explanation puts far below zero; nil if there is
// none.
func (j *judgement) belowZero(x *estimate.Estimate) *estimate.Element {
	for i := range x.Elements {
		e := &x.Elements[i]
		if (e.Kind == run.KindJoint || e.Kind == run.KindFeed) && e.Known && !e.Open && e.Belief.Mean < -negativeSigmas*e.Belief.Deviation {
			return e
		}
	}
	return nil
}

// unlistedText states where something that the run file does not list feeds the run or draws current
// from it, and how much in the step in which it is most.
func (j *judgement) unlistedText() string {
	e := j.est
	most, step := 0.0, 0
	for k := range e.Model.ReadSteps {
		if amps := e.Model.UnlistedAmps(e.Assumptions, k, e.X); math.Abs(amps) > math.Abs(most) {
			most, step = amps, k
		}
	}
	does := "draw current from"
	if most < 0 {
		does = "feed"
	}
	var reels []string
	for k, x := range j.explanations {
		if at := x.Model.UnlistedAt(); at != model.Absent && j.weights[k] >= minNamed && !slices.Contains(reels, j.run.Reels[at].Name) {
			reels = append(reels, j.run.Reels[at].Name)
		}
	}
	return fmt.Sprintf("Something that is not in the run file seems to %s reel %s: about %.2g A in step %q", does, strings.Join(reels, " or "), math.Abs(most), j.run.Steps[e.Model.Steps[step]].Name)
}

// doubtful reports whether the fit of an assessment does not explain the readings by the run file alone.
func doubtful(a *assessment.Assessment) bool { return !a.Fit.Converged || a.Doubt != "" }

// reportMisfit states what contradicts the run file and what to do about it.
func (j *judgement) reportMisfit() {
	if j.out.Doubt == "" {
		return
	}
	text := j.out.Doubt
	switch fit := j.est.Fit; {
	case !fit.Converged:
		text += ", so that nothing has a verdict. Check that every step was read with its own load lit, and that the points are right."
	case j.est.Model.UnlistedAt() != model.Absent:
		text += ". Look there for a feed, a wire or a load that the run file does not list, and for pixels that are not lit as stated. The readings were used so. Nothing passes until the run file lists it."
	case j.belowZero(j.est) != nil:
		text += ". So nothing passes. Check that the stated load was lit, and that every feed and bridge is in the run file."
	case j.est.Model.Rough:
		text += ", and the intervals are as wide. Check that every contact was firm, that every step was read with its own load lit, and that the points are right."
	default:
		text += fmt.Sprintf(". The intervals are %.2g times as wide for it.", j.est.Inflation)
	}
	if fit := j.est.Fit; fit.Converged && fit.PValue < doubtPValue {
		text += j.largestDifference()
	}
	j.addFinding(assessment.Warning, "fit", text)
}

// largestDifference names the reading that was used and differs most from the fit.
func (j *judgement) largestDifference() string {
	worst := -1
	for i, x := range j.out.Readings {
		if x.Used && (worst < 0 || math.Abs(x.Standardised) > math.Abs(j.out.Readings[worst].Standardised)) {
			worst = i
		}
	}
	if worst < 0 {
		return ""
	}
	return " The largest difference is at " + lineOf(j.out.Readings[worst]) + "."
}
