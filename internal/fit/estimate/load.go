package estimate

import (
	"math"

	"ohmkeep/internal/fit/model"
)

// Load is how many times as much current the pixels draw in a step, by its index in the run,
// as the run file says of full voltage, and the standard deviation of that; 1 ± what was known
// beforehand where nothing tells.
func (e *Estimate) Load(step int) (factor, deviation float64) {
	k := e.Problem.StepIndex(step)
	row := make([]float64, len(e.X))
	sum := 0.0
	for i, u := range e.Problem.Unknowns {
		if u.What == model.CurrentScale || u.What == model.StepCurrentScale && u.Step == k {
			row[i] = 1
			sum += e.X[i]
		}
	}
	factor = math.Exp(sum)
	return factor, factor * e.deviation(row)
}
