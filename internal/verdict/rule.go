package verdict

import (
	"math"

	"ohmkeep/internal/result/assessment"
)

// Rule is how sure one must be. What lies between the two is unproven.
type Rule struct {
	Fail float64 // least probability of being over the limit that fails
	Pass float64 // greatest probability of being over the limit that passes
}

const (
	falseAlarm = 0.01  // chance that a healthy run fails anywhere, however many elements it has
	badPassed  = 0.005 // chance that an element which passes is over its limit
)

// RuleFor returns the rule for so many elements judged together: the risk of a false
// failure is shared among them (Šidák, J. Am. Stat. Assoc. 62 (1967) 626), while a
// pass is a promise for each element by itself.
func RuleFor(judged int) Rule {
	return Rule{Fail: math.Pow(1-falseAlarm, 1/float64(max(judged, 1))), Pass: badPassed}
}

// Judge answers for a probability of being over the limit. What no reading can know
// is unproven under any assumption, and so is a probability that is no number.
func (r Rule) Judge(over float64, known bool) assessment.Verdict {
	switch {
	case !known || math.IsNaN(over):
		return assessment.Unproven
	case over >= r.Fail:
		return assessment.Fail
	case over <= r.Pass:
		return assessment.Pass
	}
	return assessment.Unproven
}
