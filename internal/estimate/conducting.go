package estimate

import "math"

// conducting is what a conductor's bent resistance t has in ohms where only its size
// matters: never below zero, with its derivative. An estimate may come out below zero
// by what the readings are off; a sharp bend there would stop a fit at it, so that it is
// rounded over bendAbout.
func conducting(t float64) (ohms, slope float64) {
	inside := math.Min(t, unbendMost)
	r := bendOhms * inside / (1 - inside)
	root := math.Hypot(r, 2*bendAbout)
	if t == inside {
		slope = (1 + r/root) / 2 * unbendSlope(inside)
	}
	return (r + root) / 2, slope
}

// bendAbout is half of splitOhms: below that nobody cares about the split.
const bendAbout = splitOhms / 2
