package judge

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// why returns in one or two sentences the reason why an element has no verdict; "" if it has one.
func (j *judgement) why(i int) string {
	e, x := &j.est.Elements[i], j.assessed(i)
	if x == nil || x.Verdict != assessment.Unproven {
		return ""
	}
	switch over := j.rule.Judge(x.ProbabilityOverLimit, true); {
	case j.wouldPass(i, x):
		return fmt.Sprintf("The probability that it is over its limit is %s, which would be a pass, but with a probability of %s the run is not as its file says, and then nothing passes.",
			percent(x.ProbabilityOverLimit), percent(j.differing))
	case j.out.Unread:
		return j.unreadText()
	case !e.Known:
		return "Not enough readings to decide: its value still follows more from the run file than from the readings."
	case over != assessment.Unproven:
		return fmt.Sprintf("The probability that it is over its limit is %s, which would be a %s, but the fit of an explanation that has a probability of %s did not converge, and tells nothing.",
			percent(x.ProbabilityOverLimit), over, percent(j.unconverged))
	}
	return j.probabilityReason(e, x)
}

// couldBe states how bad an undecided element may be, under which conditions, and which reading
// would rule that out; "" where it has a verdict or nothing is known.
func (j *judgement) couldBe(i int) string {
	if text := j.account(i); text != "" {
		return text + j.ruledOutBy(i)
	}
	return ""
}

// probabilityReason compares a probability that neither passes nor fails with those required.
func (j *judgement) probabilityReason(e *estimate.Element, x *assessment.Element) string {
	is := fmt.Sprintf("the probability that it is over its limit is %s", percent(x.ProbabilityOverLimit))
	pass := fmt.Sprintf("a pass needs %s or less", percent(j.rule.Pass))
	fail := fmt.Sprintf("a failure needs %s or more, because all elements share one risk of a false alarm", percent(j.rule.Fail))
	switch {
	case x.Open():
		return "An open conductor explains the readings best, but " + is + "; " + fail + "."
	case x.High <= x.Limit:
		text := "Its 95 % interval lies inside the limit, but " + is + "; " + pass + "."
		if near := e.Belief.ProbabilityAbove(e.Scale(x.Limit)); near <= j.rule.Pass {
			text += fmt.Sprintf(" Near its best value the readings would give %s, but nearer the limit they determine it less well.", percent(near))
		}
		return text
	case x.Low > x.Limit:
		return "Its 95 % interval lies above the limit, but " + is + "; " + fail + "."
	}
	return "T" + is[1:] + "; " + pass + ", and " + fail + "."
}

// size writes a resistance of an element in its own unit.
func size(x *assessment.Element, ohms float64) string {
	if x.Kind == run.KindReel {
		return milli(ohms) + " per metre"
	}
	return milli(ohms)
}

// unreadText states that there are no usable readings.
func (j *judgement) unreadText() string {
	if slices.ContainsFunc(j.out.Readings, func(x assessment.Reading) bool { return x.Quantity != run.Temperature }) {
		return noneUsed
	}
	return nothingRead
}

const (
	nothingRead = "There are no readings of volts or amperes: all that is known is what the run file states."
	noneUsed    = "None of the readings could be used: all that is known is what the run file states."
)

// percent writes a probability in percent, with as many digits as distinguish it from the limits
// for a pass and a failure, and never rounded to certainty.
func percent(p float64) string {
	const least = 1e-6
	switch rest := 100 * (1 - p); {
	case p < least:
		return "less than 0.0001 %"
	case p > 1-least:
		return "more than 99.9999 %"
	case p < 0.5:
		return strconv.FormatFloat(100*p, 'g', 3, 64) + " %"
	default:
		digits := max(0, 1-int(math.Floor(math.Log10(rest)+1e-9)))
		return strconv.FormatFloat(100*p, 'f', digits, 64) + " %"
	}
}
