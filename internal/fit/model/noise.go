package model

import (
	"math"
	"slices"

	"ohmkeep/internal/fit/likelihood"
	"ohmkeep/internal/run"
)

// Priors of the noise of a display besides rounding (common practice, no source): half a count,
// uncertain by a factor of two, and a two-hundredth of the meter's relative accuracy, uncertain by
// a factor of four. The scatter of repeated readings is in the known variance of their mean, so
// its further noise is smaller.
const (
	digitNoise            = 0.45  // counts
	digitNoiseOfMean      = 0.08  // counts, of a mean of repeated readings
	relativeNoiseOfMean   = 0.2   // of a mean, as a part of relativeNoise
	relativeNoise         = 0.005 // as a part of the accuracy's fraction of the value
	minRelativeNoise      = 1e-5  // as a part of the value
	maxDigitNoise         = 1.5   // as a multiple of the accuracy's counts
	maxRelativeNoise      = 0.25  // as a part of the accuracy's fraction of the value
	digitNoiseSpread      = 0.7   // standard deviation of the logarithm
	digitNoiseSpreadBelow = 0.35  // the same towards less noise
	relativeNoiseSpread   = 1.4   // standard deviation of the logarithm
)

// NoiseGroup is a group of readings with the same noise: those of one range of a meter. Means of
// repeated readings are in a group of their own.
type NoiseGroup struct {
	Meter, Range int
	Mean         bool // of means of repeated readings
	Prior        likelihood.Prior
}

// roughFactor is how many times further readings scatter, in the median, where most of them are wrong
// (common practice, no source): by tens of counts.
const roughFactor = 20

// WithRoughReadings returns a model like m in which all readings scatter much further than their
// meters promise, as with a contact that is not firm. The assumptions of m hold for it too.
func (m *Model) WithRoughReadings() *Model {
	w := *m
	w.Rough, w.NoiseGroups = true, slices.Clone(m.NoiseGroups)
	for i := range w.NoiseGroups {
		w.NoiseGroups[i].Prior = m.NoiseGroups[i].Prior.Times(roughFactor)
	}
	return &w
}

// RoughCost returns what a model of rough readings adds to the cost of a reading's noise per degree of
// freedom, so that it compares with that of others: costs are relative to the prior's median.
func (m *Model) RoughCost(o *Observation) float64 {
	if !m.Rough {
		return 0
	}
	g := &m.NoiseGroups[o.Group]
	usual := noisePrior(m.Run.Meters[g.Meter].Ranges[g.Range], g.Mean)
	return math.Log(g.Prior.Variance(o.RoundingVariance, o.Value) / usual.Variance(o.RoundingVariance, o.Value))
}

// group returns the index of a noise group, which is added if it is new.
func (m *Model) group(meter, at int, mean bool) int {
	for i, g := range m.NoiseGroups {
		if g.Meter == meter && g.Range == at && g.Mean == mean {
			return i
		}
	}
	g := NoiseGroup{Meter: meter, Range: at, Mean: mean, Prior: noisePrior(m.Run.Meters[meter].Ranges[at], mean)}
	m.NoiseGroups = append(m.NoiseGroups, g)
	return len(m.NoiseGroups) - 1
}

// noisePrior returns the prior of the noise of a range.
func noisePrior(limits run.Range, mean bool) likelihood.Prior {
	counts, part := digitNoise, relativeNoise
	if mean {
		counts, part = digitNoiseOfMean, relativeNoise*relativeNoiseOfMean
	}
	return likelihood.Prior{Scatter: likelihood.Scatter{
		Constant: math.Max(counts*limits.Resolution, minDeviation), Relative: math.Max(part*limits.Fraction, minRelativeNoise)},
		SpreadConstant: digitNoiseSpread, SpreadBelow: digitNoiseSpreadBelow, SpreadRelative: relativeNoiseSpread,
		Max: likelihood.Scatter{Constant: maxDigitNoise * math.Max(limits.Counts, 1) * math.Max(limits.Resolution, minDeviation),
			Relative: math.Max(maxRelativeNoise*limits.Fraction, 10*minRelativeNoise)}}
}

// minDeviation is the least standard deviation of a reading, V or A, for any stated resolution of
// its meter.
const minDeviation = 1e-6

// PriorNoise returns the noise of each group before its readings are used.
func (m *Model) PriorNoise() []likelihood.Learned {
	guess := make([]likelihood.Learned, len(m.NoiseGroups))
	for i, g := range m.NoiseGroups {
		guess[i].Scatter = g.Prior.Scatter
		guess[i].Covariance = [2][2]float64{{4 * digitNoiseSpread * digitNoiseSpread, 0}, {0, 4 * relativeNoiseSpread * relativeNoiseSpread}}
	}
	return guess
}

// VarianceOf returns the variance of a single reading of a value on a range of a meter, SI,
// written with all digits of the display, with the noise assumed.
func (m *Model) VarianceOf(a Assumptions, meter, at int, value float64) float64 {
	limits := m.Run.Meters[meter].Ranges[at]
	scatter := noisePrior(limits, false).Scatter
	for i, g := range m.NoiseGroups {
		if g.Meter == meter && g.Range == at && !g.Mean {
			scatter = a.Noise[i].Scatter
		}
	}
	return math.Max(scatter.Variance(limits.Resolution*limits.Resolution/12, value), minDeviation*minDeviation)
}
