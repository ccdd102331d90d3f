package model

import (
	"math"

	"ohmkeep/internal/run"
)

// heatLoads returns by step of a run how much heat a feed's own current makes in its wire, as a part of that in
// the brightest step. It grows with the square of the current (Joule's law), for which that of the
// pixels as stated is taken.
func heatLoads(r *run.Run) []float64 {
	list := make([]float64, len(r.Steps))
	most := 0.0 // A
	for step := range list {
		channels, idle := statedAmps(r, step)
		list[step] = channels + idle
		most = math.Max(most, list[step])
	}
	if most == 0 {
		return list // all steps are dark
	}
	for step, amps := range list {
		list[step] = amps * amps / (most * most)
	}
	return list
}
