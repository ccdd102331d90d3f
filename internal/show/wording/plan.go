package wording

// PlanOrder is what a plan takes for granted of the person who walks it.
const PlanOrder = "Each step is set once and the run walked along once in it: to change a step is taken to be the slower part."
