// Package prior is what is known of a run's conductors before anything is read, as residuals
// of a least-squares fit: how the rails of an element share its loop, and how alike the reels
// of one strip are; and the scale on which conductors are fitted.
//
// Each function takes all unknowns and knows the places of those that concern it.
package prior

import (
	"math"
)

// A conductor of a joint or feed is fitted as t = r/(r + 1 Ω): linear in r where
// joints live, and finite at an open conductor, t = 1.
const transformOhms = 1.0

// Bend is t of a resistance in ohms, +Inf included.
func Transform(ohms float64) float64 {
	if math.IsInf(ohms, 1) {
		return 1
	}
	return ohms / (ohms + transformOhms)
}

// Unbend is the resistance in ohms of t; +Inf from t = 1 on.
func ToOhms(t float64) float64 {
	if t >= 1 {
		return math.Inf(1)
	}
	return transformOhms * t / (1 - t)
}

// UnbendSlope is dr/dt, and unbendMost the last t at which it is used; beyond, the
// model is continued in a straight line.
func ToOhmsSlope(t float64) float64 { return transformOhms / ((1 - t) * (1 - t)) }

const (
	MaxTransformed = 1 - 1e-5 // 100 kΩ: an open conductor to any meter
	MinTransformed = 1e-6     // 1 µΩ
	MinFactor      = 0.02     // of a reel's nominal
)

// conducting is what a conductor's bent resistance t has in ohms where only its size
// matters: never below zero, with its derivative. An estimate may come out below zero
// by what the readings are off; a sharp bend there would stop a fit at it, so that it is
// rounded over bendAbout.
func smoothOhms(t float64) (ohms, slope float64) {
	inside := math.Min(t, MaxTransformed)
	r := transformOhms * inside / (1 - inside)
	root := math.Hypot(r, 2*smoothingOhms)
	if t == inside {
		slope = (1 + r/root) / 2 * ToOhmsSlope(inside)
	}
	return (r + root) / 2, slope
}

// bendAbout is half of splitOhms: below that nobody cares about the split.
const smoothingOhms = minSplitOhms / 2

// Loop is two bent rails in series, T = bend(r₊ + r₋), and its derivatives.
func Loop(at [2]int, x []float64) (t float64, row []float64) {
	row = make([]float64, len(x))
	for rail, k := range at {
		if other := at[1-rail]; x[k] >= MaxTransformed && x[k] >= x[other] {
			row[k] = 1 // one rail open: the other does not matter
			return x[k], row
		}
	}
	t = Transform(ToOhms(x[at[0]]) + ToOhms(x[at[1]]))
	for _, k := range at {
		row[k] = ToOhmsSlope(x[k]) / ToOhmsSlope(t)
	}
	return t, row
}
