package estimate

import "math"

// A conductor of a joint or feed is fitted as t = r/(r + 1 Ω): linear in r where
// joints live, and finite at an open conductor, t = 1.
const bendOhms = 1.0

func bend(ohms float64) float64 {
	if math.IsInf(ohms, 1) {
		return 1
	}
	return ohms / (ohms + bendOhms)
}

func unbend(t float64) float64 {
	if t >= 1 {
		return math.Inf(1)
	}
	return bendOhms * t / (1 - t)
}

// unbendSlope is dr/dt, and unbendMost the last t at which it is used; beyond, the
// model is continued in a straight line.
func unbendSlope(t float64) float64 { return bendOhms / ((1 - t) * (1 - t)) }

const (
	unbendMost  = 1 - 1e-5 // 100 kΩ: an open conductor to any meter
	unbendLeast = 1e-6     // 1 µΩ
	factorLeast = 0.02     // of a reel's nominal
)

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
