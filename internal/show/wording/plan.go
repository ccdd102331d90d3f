package wording

// PlanOrder states the order of a plan's readings and the assumption behind it.
const PlanOrder = "Set each step once, and walk along the run once in it: changing the step is taken to be slower than walking."
