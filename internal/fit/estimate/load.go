package estimate

import (
	"math"

	"ohmkeep/internal/fit/model"
)

// Load returns the ratio of the pixels' current in a step, by its index in the run, to that in
// the run file at full voltage, as the mean over the reels, and its standard deviation. Without
// readings it is that of the priors.
func (e *Estimate) Load(step int) (factor, deviation float64) {
	k := e.Model.StepIndex(step)
	row := make([]float64, len(e.X))
	sum := 0.0
	for i, u := range e.Model.Unknowns {
		if u.What == model.CurrentScale || u.What == model.StepCurrentScale && u.Step == k {
			row[i] = 1
			sum += e.X[i]
		}
	}
	factor = math.Exp(sum)
	return factor, factor * e.deviation(row)
}
