package model

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"ohmkeep/internal/fit/likelihood"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// What is supposed of a display beside its rounding until its readings tell (common practice, no
// source): the last digit wanders by half a count, give or take a factor of
// two, and by a two-hundredth of the meter's relative accuracy of the value, give or take a
// factor of four. The mean of repeated readings has their own scatter; what it has beyond that is less.
const (
	digitNoise            = 0.45 // counts
	digitNoiseOfMean      = 0.08
	relativeNoiseOfMean   = 0.2   // of share
	relativeNoise         = 0.005 // of the accuracy as a fraction of the value
	minRelativeNoise      = 1e-5
	maxDigitNoise         = 1.5  // of the accuracy's counts: what scatters further could not be so accurate
	maxRelativeNoise      = 0.25 // of the accuracy's part of the value
	digitNoiseSpread      = 0.7  // of the logarithms
	digitNoiseSpreadBelow = 0.35 // of that of less wander
	relativeNoiseSpread   = 1.4
)

// NoiseGroup is the readings that scatter alike: those of one range of a meter, single ones and
// means apart.
type NoiseGroup struct {
	Meter, Range int
	Mean         bool
	Prior        likelihood.Prior
}

// group returns the place of the group that a reading belongs to.
func (p *Problem) group(meter, at int, mean bool) int {
	for i, g := range p.NoiseGroups {
		if g.Meter == meter && g.Range == at && g.Mean == mean {
			return i
		}
	}
	g := NoiseGroup{Meter: meter, Range: at, Mean: mean, Prior: noisePrior(p.Run.Meters[meter].Ranges[at], mean)}
	p.NoiseGroups = append(p.NoiseGroups, g)
	p.Noise = append(p.Noise, likelihood.Learned{Scatter: g.Prior.Scatter, Covariance: [2][2]float64{
		{4 * digitNoiseSpread * digitNoiseSpread, 0}, {0, 4 * relativeNoiseSpread * relativeNoiseSpread}}})
	return len(p.NoiseGroups) - 1
}

// noisePrior is what is supposed of a range.
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

// leastDeviation is that of a reading, V or A, whatever its meter is said to resolve.
const minDeviation = 1e-6

// SetNoise takes the scatter of each group as given.
func (p *Problem) SetNoise(noise []likelihood.Learned) {
	copy(p.Noise, noise)
	for i := range p.Observations {
		o := &p.Observations[i]
		o.Deviation = math.Sqrt(p.Noise[o.Group].Variance(o.RoundingVariance, o.Value))
	}
}

// GuessedNoise is the scatter of each group before its readings tell of it.
func (p *Problem) PriorNoise() []likelihood.Learned {
	guess := make([]likelihood.Learned, len(p.NoiseGroups))
	for i, g := range p.NoiseGroups {
		guess[i].Scatter = g.Prior.Scatter
		guess[i].Covariance = [2][2]float64{{4 * digitNoiseSpread * digitNoiseSpread, 0}, {0, 4 * relativeNoiseSpread * relativeNoiseSpread}}
	}
	return guess
}

// VarianceOf returns the variance of a single reading of a value on a range of a meter, SI, written
// with all digits of its display.
func (p *Problem) VarianceOf(meter, at int, value float64) float64 {
	limits := p.Run.Meters[meter].Ranges[at]
	scatter := noisePrior(limits, false).Scatter
	for i, g := range p.NoiseGroups {
		if g.Meter == meter && g.Range == at && !g.Mean {
			scatter = p.Noise[i].Scatter
		}
	}
	return math.Max(scatter.Variance(limits.Resolution*limits.Resolution/12, value), minDeviation*minDeviation)
}

// column is readings that one person wrote in one manner: of a range of a meter, in a unit.
type column struct {
	meter, at int
	unit      string
}

// quanta returns the steps, SI, in which each column of readings was written: that of the last
// decimal that its values show. A spreadsheet drops trailing zeros, so a single value tells
// little; a column none of whose values shows a display's last decimals was rounded by whoever
// wrote it. In a long column one value that shows more decimals than all others is a slip.
func (p *Problem) writtenResolutions(readings []reading.Reading) map[column]float64 {
	steps := map[column][]float64{}
	for _, x := range readings {
		if c, ok := p.columnOf(x); ok {
			steps[c] = append(steps[c], writtenStep(x))
		}
	}
	finest := map[column]float64{}
	for c, list := range steps {
		slices.Sort(list)
		if len(list) >= minOutlierColumn {
			list = list[1:]
		}
		finest[c] = list[0]
	}
	return finest
}

// longColumn is from how many values on one of them may be a slip.
const minOutlierColumn = 6

// columnOf returns the column of a reading; false where its meter has no range for it.
func (p *Problem) columnOf(x reading.Reading) (column, bool) {
	meter := max(p.Run.MeterIndex(x.Meter), 0)
	at := p.Run.Meters[meter].Range(x.Quantity, x.Value)
	return column{meter, at, x.Unit}, at >= 0
}

// writtenStep is one unit of the last decimal that a reading shows, SI; 0 where it was not written.
func writtenStep(x reading.Reading) float64 {
	per, known := reading.PerSI(x.Quantity, x.Unit)
	if !known || x.Text == "" || x.Mean != nil {
		return 0
	}
	digits, exponent, _ := strings.Cut(strings.ToLower(x.Text), "e")
	power := 0
	if exponent != "" {
		power, _ = strconv.Atoi(exponent)
	}
	_, decimals, _ := strings.Cut(digits, ".")
	return math.Pow(10, float64(power-len(decimals))) / per
}
