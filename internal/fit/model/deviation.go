package model

import (
	"math"

	"ohmkeep/internal/reading"
)

// repeatFreedom is how many degrees of freedom the usual scatter of a last digit is
// worth beside the scatter that repeated readings show (common practice, no source).
const priorFreedom = 2

// unevenness is the standard deviation of how unevenly a converter's counts are spaced, in
// counts: an error of each value of its own, which no number of repeats averages out and
// which is no gain or offset (common practice, no source; data sheets state up to a count).
const countNonlinearity = 0.2

// deviation is the standard deviation of what does not repeat in a reading of a display
// that counts in steps of resolution: the wander of the last digit and its rounding. Of a
// mean it is that of the mean. The wander averages out, and so does the rounding where
// the wander is large enough to show other digits; of readings that all show the same
// number, the error of rounding is the same in all and stays. So does the unevenness of
// the counts.
func readingDeviation(resolution float64, m *reading.Mean) float64 {
	square := resolution * resolution
	variance := square * (1.0/12 + digitNoise*digitNoise)
	if m == nil {
		return math.Sqrt(variance)
	}
	n := float64(m.Count - 1)
	variance = (priorFreedom*variance + n*m.Scatter*m.Scatter) / (priorFreedom + n)
	return math.Sqrt(variance/m.Independent + square*(roundingBias(variance/square)+countNonlinearity*countNonlinearity))
}

// roundingBias is the variance, in squared counts, of the mean error of rounding of
// repeated readings, which no number of them averages out. scatter is the variance of one
// reading as shown. The error of rounding is a sawtooth of the true value; its mean under
// Gaussian wander of variance w has the Fourier series Σ (−1)ᵏ·sin(2πku)·exp(−2π²k²w)/(πk),
// whose mean square over an even u is the sum below: 1/12 without wander. What readings
// of one value show then scatters by w + 1/12 less this bias, from which w follows.
func roundingBias(scatter float64) float64 {
	low, high := 0.0, scatter
	for range 50 {
		w := (low + high) / 2
		if w+1.0/12-roundingBiasOfNoise(w) > scatter {
			high = w
		} else {
			low = w
		}
	}
	return roundingBiasOfNoise(low)
}

// biasOf is Σ exp(−4π²k²w)/(2π²k²), the variance of the mean error of rounding, in squared
// counts, under a wander of variance w.
func roundingBiasOfNoise(wander float64) float64 {
	const terms = 200 // without wander the sum is then 1/12 but for 0.3 %
	sum := 0.0
	for k := 1.0; k <= terms; k++ {
		term := math.Exp(-4*math.Pi*math.Pi*k*k*wander) / (2 * math.Pi * math.Pi * k * k)
		if sum += term; term < 1e-12 {
			break
		}
	}
	return sum
}
