package judge

import (
	"fmt"
	"math"

	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

const (
	// mostWrong is how many readings may contradict the others and still be slips of whoever
	// read them; more are the mark of a run that is not what its file says.
	mostWrong = 3
	// leastCopper is the least part of its stated resistance that a reel can have; no strip is
	// so much better than its figure (common practice, no source).
	leastCopper = 0.75
	// leastWire is the same of a feed, whose conductor is stated by its gauge (the same).
	leastWire = 0.5
	// odd is the p-value from which on a reading left out that looks like no slip may be one
	// all the same: below it the readings that were kept fit badly too. What lies fewer than
	// glaring deviations from the others looks like some place or other by chance.
	odd     = 0.05
	glaring = 10.0
	// negative is how many deviations below nothing no joint, feed or conductor of one can lie.
	negative = 4.0
)

// oddity says what is odd about a fit that explains the readings it kept, "" where
// nothing is. stated is what the run file states of a reel or feed, 0 for nothing, and
// resembles what a reading left out looks like.
func oddity(est *estimate.Estimate, name func(*estimate.Element) string, stated func(*estimate.Element) float64,
	resembles func(assessment.Reading) string) string {
	wrong := 0
	for _, x := range est.Readings {
		if x.Suspect && !mended(x) {
			wrong++
		}
	}
	if wrong > mostWrong {
		return fmt.Sprintf("%d readings contradict the others, too many for slips", wrong)
	}
	if x, again := insists(est.Readings); again {
		return fmt.Sprintf("The readings of %s contradict the others more than once", between(x))
	}
	for _, x := range est.Readings {
		if x.Suspect && !mended(x) && est.Fit.PValue < odd && (math.Abs(x.Standardised) < glaring || resembles(x) == "") {
			return fmt.Sprintf("A reading of %s contradicts the others, looks like no slip, and the rest fit badly", between(x))
		}
	}
	for i := range est.Elements {
		e := &est.Elements[i]
		if !e.Known || e.Open || e.Kind == run.KindSupply {
			continue
		}
		if e.Kind != run.KindReel && e.Belief.Mean < -negative*e.Belief.Deviation {
			conductor := ""
			if e.Rail != run.Loop {
				conductor = fmt.Sprintf(", its %s conductor,", e.Rail)
			}
			return fmt.Sprintf("%s %s%s seems to have less than no resistance", titled(e.Kind), name(e), conductor)
		}
		if e.Rail != run.Loop {
			continue
		}
		_, high := e.Belief.Interval(coverage)
		part := e.Ohms(math.Max(high, 0)) / stated(e)
		switch {
		case e.Kind == run.KindReel && part < leastCopper:
			return fmt.Sprintf("Reel %s seems to have %.0f %% of its stated resistance at the most, which no strip has", name(e), 100*part)
		case e.Kind == run.KindFeed && part < leastWire:
			return fmt.Sprintf("Feed %s seems to have %.0f %% of its stated resistance at the most; if its wire is thicker or shorter than the run file says, say so there", name(e), 100*part)
		}
	}
	return ""
}

// insists finds a place whose readings contradict the others more than once. One slip is
// one of whoever read; the same place again is the run's. Leads that stay reversed, or a
// unit that stays mistaken, are the exception.
func insists(readings []assessment.Reading) (assessment.Reading, bool) {
	type place struct {
		quantity run.Quantity
		from, to string
	}
	seen := map[place]bool{}
	for _, x := range readings {
		if !x.Suspect || mended(x) || slip(x) != "" {
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

func titled(k run.Kind) string {
	if k == run.KindFeed {
		return "Feed"
	}
	return "Joint"
}

// findMisfit says why nothing is passed, and where the difference is largest.
func (j *judged) findMisfit() {
	if !j.doubt || j.out.Unread() {
		return
	}
	if !j.est.Fit.Converged {
		j.say(assessment.Warning, "fit", "The fit did not settle, so nothing is passed. Look for a step that was not the load it is named after, and for wrong points.")
		return
	}
	worst := -1
	for i, x := range j.out.Readings {
		if x.Used && (worst < 0 || math.Abs(x.Standardised) > math.Abs(j.out.Readings[worst].Standardised)) {
			worst = i
		}
	}
	text := j.out.Doubt + ". So nothing is passed. Another load than stated may have been lit, or a feed or a bridge is not in the run file."
	if worst >= 0 && j.est.Fit.PValue < assessment.Unexplained {
		x := j.out.Readings[worst]
		text += fmt.Sprintf(" The largest difference is at line %d (%s, %q).", x.Row, between(x), x.Step)
	}
	j.say(assessment.Warning, "fit", text)
}
