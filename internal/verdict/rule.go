package verdict

import (
	"math"

	"ohmkeep/internal/result/assessment"
)

// Rule holds the probabilities of being over the limit that decide. Between the two an
// element is unproven.
type Rule struct {
	Fail float64 // least probability that fails
	Pass float64 // greatest probability that passes
}

const (
	maxFalseFailures = 0.01  // probability that a healthy run fails anywhere, for any number of elements
	maxFalsePasses   = 0.005 // probability that an element which passes is over its limit
)

// RuleFor returns the rule for a number of elements judged together. They share the risk
// of a false failure (Šidák, J. Am. Stat. Assoc. 62 (1967) 626); the risk of a false pass
// is that of each element by itself.
func RuleFor(judged int) Rule {
	return Rule{Fail: math.Pow(1-maxFalseFailures, 1/float64(max(judged, 1))), Pass: maxFalsePasses}
}

// Judge returns the verdict for a probability of being over the limit. An element that
// the readings do not determine (known is false) is unproven, and so is a probability of NaN.
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
