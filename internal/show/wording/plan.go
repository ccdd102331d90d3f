package wording

import "ohmkeep/internal/run"

// PlanOrder states the order of a plan's readings and the assumption behind it.
const PlanOrder = "Set each step once, and walk along the run once in it: changing the step is taken to be slower than walking."

// Unmeasured states that a walk asks for no readings of a quantity.
func Unmeasured(q run.Quantity) string {
	return "No " + q.String() + " is asked for: the run file describes no meter of your own for it."
}
