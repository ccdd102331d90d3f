package judge

import (
	"fmt"
	"math"
	"slices"

	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

const (
	// maxWrongReadings is how many readings may contradict the others and still count as mistakes;
	// with more, the run is not as its file states.
	maxWrongReadings = 3
	// minReelPart is the least part of its stated resistance that a reel can have (common practice,
	// no source).
	minReelPart = 0.75
	// minFeedPart is the same of a feed, whose conductor is stated by its size (common practice, no
	// source).
	minFeedPart = 0.5
	// minGoodPValue is the p-value below which the other readings fit badly too. An excluded reading
	// without an apparent mistake then puts the fit in doubt. A reading fewer than obviousSigmas
	// standard deviations from the others may resemble another place by chance.
	minGoodPValue = 0.05
	obviousSigmas = 10.0
	// negativeSigmas is how many standard deviations below zero a joint, feed or conductor must be
	// estimated to put the fit in doubt.
	negativeSigmas = 4.0
)

// doubtReason states what contradicts a fit that explains the readings it used; "" if nothing
// does. stated is the resistance of a reel or feed in the run file, 0 for none, and
// resembles the mistake that an excluded reading looks like.
func doubtReason(est *estimate.Estimate, name func(*estimate.Element) string, stated func(*estimate.Element) float64,
	resembles func(assessment.Reading) string) string {
	wrong := 0
	for _, x := range est.Readings {
		if x.Suspect && !partOfMistake(x) {
			wrong++
		}
	}
	if wrong > maxWrongReadings {
		return fmt.Sprintf("%d readings contradict the others, too many for mistakes in reading", wrong)
	}
	if x, again := repeatedContradiction(est.Readings); again {
		return fmt.Sprintf("The readings of %s contradict the others more than once", between(x))
	}
	for _, x := range est.Readings {
		if x.Suspect && !partOfMistake(x) && est.Fit.PValue < minGoodPValue && (math.Abs(x.Standardised) < obviousSigmas || resembles(x) == "") {
			return fmt.Sprintf("A reading of %s contradicts the others without an apparent mistake, and the other readings fit badly too", between(x))
		}
	}
	for i := range est.Elements {
		e := &est.Elements[i]
		if !e.Known || e.Open || e.Kind == run.KindSupply {
			continue
		}
		if e.Kind != run.KindReel && e.Belief.Mean < -negativeSigmas*e.Belief.Deviation {
			conductor := ""
			if e.Rail != run.Loop {
				conductor = fmt.Sprintf(", its %s conductor,", e.Rail)
			}
			return fmt.Sprintf("%s %s%s seems to have a negative resistance, which is impossible", kindTitle(e.Kind), name(e), conductor)
		}
		if e.Rail != run.Loop {
			continue
		}
		part := mostOfStated(e, stated(e))
		switch {
		case e.Kind == run.KindReel && part < minReelPart:
			return fmt.Sprintf("Reel %s seems to have %.0f %% of its stated resistance at most, which no strip has. Either both its ends were read at one place, or a wire joins them", name(e), 100*part)
		case e.Kind == run.KindFeed && part < minFeedPart:
			return fmt.Sprintf("Feed %s seems to have %.0f %% of its stated resistance at most; if its wire is thicker or shorter than the run file says, say so there", name(e), 100*part)
		}
	}
	return ""
}

// doubt states what contradicts an explanation of the readings; "" if nothing does.
func (j *judgement) doubt(est *estimate.Estimate) string {
	text := doubtReason(est, j.name, func(e *estimate.Element) float64 {
		switch e.Kind {
		case run.KindReel:
			return j.run.Reels[e.Index].Strip.LoopOhms
		case run.KindFeed:
			return j.run.Feeds[e.Index].Ohms
		}
		return 0
	}, func(x assessment.Reading) string { return LikelyMistake(x, est.Readings) })
	if p := est.Fit.PValue; text == "" && p < minPassPValue {
		return fmt.Sprintf("No resistances explain the readings within the errors of the meters (p = %.1g)", p)
	}
	return text
}

// calledWrongBy returns another explanation of the readings with those called wrong that the best one
// calls wrong, where it supposes nothing else than that more of them are. Otherwise it returns the other
// explanation.
func calledWrongBy(best, other *estimate.Estimate) *estimate.Estimate {
	a, b := best.Assumptions, other.Assumptions
	if a.DarkReel != b.DarkReel || a.OtherStock != b.OtherStock || !slices.Equal(a.Mistakes, b.Mistakes) || len(excludedOnlyIn(best, other)) > 0 {
		return other
	}
	as := *other
	as.Readings = best.Readings
	return &as
}

// mostOfStated returns the upper end of an element's interval as a part of its stated resistance.
func mostOfStated(e *estimate.Element, stated float64) float64 {
	_, high := e.Belief.Interval(coverage)
	return e.Ohms(math.Max(high, 0)) / stated
}

// doubtful reports whether the fit of an assessment does not explain the readings.
func doubtful(a *assessment.Assessment) bool {
	return !a.Fit.Converged || a.Fit.PValue < minPassPValue || a.Doubt != ""
}

// repeatedContradiction finds a place whose readings contradict the others more than once. A
// single mistake is the operator's; a repeated one points to the run. Reversed leads and wrong
// units may repeat and are left out.
func repeatedContradiction(readings []assessment.Reading) (assessment.Reading, bool) {
	type place struct {
		quantity run.Quantity
		from, to string
	}
	seen := map[place]bool{}
	for _, x := range readings {
		if !x.Suspect || partOfMistake(x) || leadOrUnitMistake(x) != "" {
			continue
		}
		at := place{x.Quantity, x.From, x.To}
		if seen[at] {
			return x, true
		}
		seen[at] = true
	}
	return assessment.Reading{}, false
}

// kindTitle returns the kind of a joint or feed as the first word of a sentence.
func kindTitle(k run.Kind) string {
	if k == run.KindFeed {
		return "Feed"
	}
	return "Joint"
}

// reportMisfit states why nothing passes, and which reading differs most from the fit.
func (j *judgement) reportMisfit() {
	if !j.out.Doubtful || j.out.Unread {
		return
	}
	if !j.est.Fit.Converged {
		j.addFinding(assessment.Warning, "fit", "The calculation found no stable answer (the fit did not converge), so nothing passes. Check that every step was read with its own load lit, and that the points are right.")
		return
	}
	worst := -1
	for i, x := range j.out.Readings {
		if x.Used && (worst < 0 || math.Abs(x.Standardised) > math.Abs(j.out.Readings[worst].Standardised)) {
			worst = i
		}
	}
	text := j.out.Doubt + ". So nothing passes. Check that the stated load was lit, and that every feed and bridge is in the run file."
	if worst >= 0 && j.est.Fit.PValue < minPassPValue {
		x := j.out.Readings[worst]
		text += " The largest difference is at " + lineOf(x) + "."
	}
	j.addFinding(assessment.Warning, "fit", text)
	for i := range j.est.Elements {
		if x, reason := j.assessed(i), j.withheld[i]; reason != "" && !mayBeOpen(x) {
			j.addFinding(assessment.Notice, string(x.Kind)+" "+x.Name, "Undecided. "+reason)
		}
	}
}
