package model

import (
	"math"

	"ohmkeep/internal/reading"
)

// priorFreedom is the weight of the usual digit noise, in degrees of freedom, beside the scatter
// of repeated readings (common practice, no source).
const priorFreedom = 2

// countNonlinearity is the standard deviation of the differential nonlinearity of a converter, in
// counts. It is an error of each value: repeats do not average it out, and it is neither gain nor
// offset (common practice, no source; data sheets state up to a count).
const countNonlinearity = 0.2

// readingDeviation returns the standard deviation of the noise of a reading, SI, on a display with
// the given resolution, SI: digit noise and rounding. For a mean of readings it is that of the
// mean. Digit noise averages out. Rounding averages out only where the noise is large enough to
// change the last digit; otherwise its error is the same in all readings. The error of the
// converter's nonlinearity is always the same in all readings.
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

// roundingBias returns the variance, in squared counts, of the mean rounding error of repeated
// readings, which repeats do not average out. scatter is the variance of one displayed reading, in
// squared counts.
// The rounding error is a sawtooth of the true value. Its mean under Gaussian noise of variance w
// has the Fourier series Σ (−1)ᵏ·sin(2πku)·exp(−2π²k²w)/(πk), whose mean square over a uniform u
// is roundingBiasOfNoise: 1/12 without noise. Readings of one value then scatter by w + 1/12 less
// this bias, which gives w.
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

// roundingBiasOfNoise returns Σ exp(−4π²k²w)/(2π²k²), the variance of the mean rounding error, in
// squared counts, under noise of variance w, in squared counts.
func roundingBiasOfNoise(w float64) float64 {
	const terms = 200 // without noise the sum is then 1/12 within 0.31 %
	sum := 0.0
	for k := 1.0; k <= terms; k++ {
		term := math.Exp(-4*math.Pi*math.Pi*k*k*w) / (2 * math.Pi * math.Pi * k * k)
		if sum += term; term < 1e-12 {
			break
		}
	}
	return sum
}
