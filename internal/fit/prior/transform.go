// Package prior holds the priors of a run's conductors as residuals of a least-squares fit: how
// an element's loop resistance divides between its rails, and how similar the reels of one strip
// type are. It also has the transformed scale on which conductors are fitted.
//
// Each function takes all unknowns and the indices of those it uses.
package prior

import (
	"math"
)

// A conductor of a joint or feed is fitted as t = r/(r + 1 Ω): about linear in r for a joint, and
// finite, t = 1, for an open conductor.
const transformOhms = 1.0

// Transform returns t of a resistance in ohms; 1 for +Inf.
func Transform(ohms float64) float64 {
	if math.IsInf(ohms, 1) {
		return 1
	}
	return ohms / (ohms + transformOhms)
}

// ToOhms returns the resistance in ohms of t; +Inf from t = 1 on.
func ToOhms(t float64) float64 {
	if t >= 1 {
		return math.Inf(1)
	}
	return transformOhms * t / (1 - t)
}

// ToOhmsSlope is dr/dt. Beyond MaxTransformed the model is continued in a straight line.
func ToOhmsSlope(t float64) float64 { return transformOhms / ((1 - t) * (1 - t)) }

const (
	MaxTransformed = 1 - 1e-5 // 100 kΩ, which no meter can distinguish from an open conductor
	MinTransformed = -0.02    // −20 mΩ, further below zero than errors of readings put a resistance
	LeastOhms      = 1e-6     // Ω, the smallest size of a resistance with which the network is solved
	MinFactor      = 0.02     // of a reel's stated resistance
)

// Inside returns the nearest value at which the network is solved: within MinTransformed and
// MaxTransformed, and LeastOhms away from zero. Between them and beyond, the model is continued in
// a straight line.
func Inside(t float64) float64 {
	if math.Abs(t) < LeastOhms {
		return LeastOhms
	}
	return math.Min(math.Max(t, MinTransformed), MaxTransformed)
}

// smoothOhms returns the resistance, Ω, of a transformed value, smoothly kept above zero, and its
// derivative. An estimate may lie below zero by the errors of the readings; a kink at zero would
// stop a fit there, so that it is rounded over smoothingOhms.
func smoothOhms(t float64) (ohms, slope float64) {
	inside := math.Min(t, MaxTransformed)
	r := transformOhms * inside / (1 - inside)
	root := math.Hypot(r, 2*smoothingOhms)
	if t == inside {
		slope = (1 + r/root) / 2 * ToOhmsSlope(inside)
	}
	return (r + root) / 2, slope
}

// smoothingOhms is half of minSplitOhms, below which the division between the rails does not
// matter.
const smoothingOhms = minSplitOhms / 2

// Loop returns the transformed resistance of two rails in series, whose unknowns are at, and its
// derivatives by all unknowns.
func Loop(at [2]int, x []float64) (t float64, row []float64) {
	row = make([]float64, len(x))
	for rail, k := range at {
		if other := at[1-rail]; x[k] >= MaxTransformed && x[k] >= x[other] {
			row[k] = 1 // one rail is open: the other has no influence
			return x[k], row
		}
	}
	t = Transform(ToOhms(x[at[0]]) + ToOhms(x[at[1]]))
	for _, k := range at {
		row[k] = ToOhmsSlope(x[k]) / ToOhmsSlope(t)
	}
	return t, row
}
