package assessment

// Explanation reports what the verdict on an element rests on.
type Explanation struct {
	Element Element
	Why     string   // what keeps it from a verdict; "" = it has one, or no limit
	Advice  string   // what to do about an open conductor; "" = not an open conductor
	Parts   []Part   // like readings together, the weightiest first
	Single  *Part    // the one reading whose absence would change most; nil without any
	Sources []Source // what the uncertainty comes from, the greatest first
}

// Part is what some readings carry of an element's verdict.
type Part struct {
	What           string // such as "the pair voltages either side of it"
	Step           string // "" for all steps
	PartOfPrevious bool   // it is a part of the one before it, in the step that weighs most
	Rows           []int
	// Share is the part of the information (one over the variance) that would be lost
	// without them, 0 to 1. Shares do not add up to 1: readings stand in for each other.
	Share float64
	// How the element would be judged without them.
	Ohms, Low, High float64
	Verdict         Verdict
	Known           bool
}

// Source is where a part of an element's variance comes from.
type Source struct {
	What  string
	Share float64
}
