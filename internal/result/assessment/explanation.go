package assessment

// Explanation describes the readings and errors that a verdict on an element depends on.
type Explanation struct {
	Element Element
	Why     string   // why it is unproven; "" = it is not, or has no limit
	Advice  string   // what to do about an open conductor; "" = not an open conductor
	Parts   []Part   // groups of similar readings, the largest share first
	Single  *Part    // the single reading whose absence would change most; nil without readings
	Sources []Source // the sources of the uncertainty, the largest first
}

// Part is the contribution of a group of readings to what is known of an element.
type Part struct {
	What           string // such as "the pair voltages either side of it"
	Step           string // "" for all steps
	PartOfPrevious bool   // it is the part of the group before it that was read in the step with the largest share
	Rows           []int  // line numbers in the readings file
	// Share is the part of the information (one over the variance) that would be lost
	// without them, 0 to 1. Shares do not add up to 1, because readings can replace each other.
	Share float64
	// Estimate, 95 % interval, Ω, and verdict without them.
	Ohms, Low, High float64
	Verdict         Verdict
	Known           bool
}

// Source is one source of an element's uncertainty. Share is its part of the variance, 0 to 1.
type Source struct {
	What  string
	Share float64
}
