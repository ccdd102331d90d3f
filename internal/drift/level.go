package drift

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"ohmkeep/internal/numeric/trend"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run"
	"ohmkeep/internal/verdict"
)

// anchored is the level that all nights of a series share.
type anchored struct {
	by       float64 // Ω to add to every night
	lowest   float64 // Ω, the least level of any stretch, before by is added
	shift    float64 // Ω, standard deviation of the levels
	positive bool    // the resistance cannot be negative, and the levels are near zero
}

// anchor computes the level. Without dark scans the sensors' difference is not known, and the
// computed level of a joint may be below zero. A resistance is not, so all stretches with the same
// sensors are shifted together. Levels read by earlier sensors do not count.
func (t *track) anchor() anchored {
	a := anchored{lowest: math.Inf(1)}
	var shifts []float64
	for i := range t.Stretch {
		if t.Stretch[i].Cause == replaced {
			a.lowest, shifts = math.Inf(1), nil
		}
		p := t.piece(t.Stretch[i].At, t.end(i))
		for k, q := range p.points {
			if k == 0 || k == len(p.points)-1 {
				shifts = append(shifts, t.commonError(q))
			}
		}
		if len(p.y) >= nightsBefore {
			a.lowest = math.Min(a.lowest, trend.Midmean(p.y[:min(len(p.y), 30)]))
		}
	}
	a.shift = trend.Median(shifts)
	if math.IsInf(a.lowest, 1) || math.IsNaN(a.shift) {
		return anchored{lowest: math.NaN(), shift: math.Inf(1)}
	}
	if t.Kind == run.KindJoint && a.shift > 0 {
		a.positive = true
		a.by = positiveMean(a.lowest, a.shift) - a.lowest
	}
	return a
}

// positiveMean is the mean of a Gaussian truncated at zero.
func positiveMean(mean, deviation float64) float64 {
	at := mean / deviation
	if at < -6 {
		return deviation / -at // asymptote of Mills's ratio
	}
	return mean + deviation*distuv.UnitNormal.Prob(at)/distuv.UnitNormal.CDF(at)
}

// level sets the latest level and its interval.
func (t *track) level(x *history.Series, p part, a anchored) {
	n := len(p.points)
	if n == 0 || math.IsNaN(a.lowest) {
		return
	}
	random := p.deviation / math.Sqrt(float64(min(n, 30))) * 1.25
	if !x.TemperatureRead {
		random = math.Hypot(random, seasonPartUnread*t.Wire)
	}
	x.Ohms = math.Max(0, p.end+a.by)
	if !a.positive {
		half := z95 * math.Hypot(random, a.shift)
		x.Low, x.High = math.Max(0, x.Ohms-half), x.Ohms+half
		return
	}
	above := p.end - a.lowest
	low, high := verdict.Belief{Mean: a.lowest, Deviation: math.Hypot(random, a.shift)}.Interval(coverage)
	x.Low, x.High = math.Max(0, low+above-z95*random), high+above+z95*random
	x.Low, x.High = math.Min(x.Low, x.Ohms), math.Max(x.High, x.Ohms)
}

// mostPairs is the greatest number of points of a trend, whose cost grows with its square.
const mostPairs = 365

// rate sets the trend of the latest part and its interval.
func (t *track) rate(x *history.Series, p part) {
	n := len(p.points)
	if n < 8 || p.x[n-1]-p.x[0] < 10 {
		return
	}
	every := (n + mostPairs - 1) / mostPairs
	var at, y []float64
	for i := 0; i+every <= n; i += every {
		at = append(at, trend.Median(p.x[i:i+every])/year)
		y = append(y, trend.Midmean(p.y[i:i+every]))
	}
	slopes := trend.NewSlopes(at, y)
	x.PerYear = slopes.Median()
	rest := make([]float64, len(y))
	for i := range y {
		rest[i] = y[i] - x.PerYear*at[i]
	}
	k := trend.MannKendall(y).Inflated(trend.Inflation(rest))
	x.PerYearLow, x.PerYearHigh = slopes.Interval(k.Variance, z95)
	// An error that neighbouring nights share does not show in their scatter: half a count of a
	// sensor, a part of the wire that is not copper as stated, and the season if no temperature is
	// read.
	common := math.Hypot(p.deviation/2, t.currentError(p.points[0], p.points[n-1]))
	part := seasonPartUnread
	if x.TemperatureRead {
		part = seasonPart
	}
	common = math.Hypot(common, 2*part*t.Wire) // from one end of the season to the other
	half := z95 * common / (at[len(at)-1] - at[0])
	x.PerYearLow, x.PerYearHigh = x.PerYearLow-half, x.PerYearHigh+half
}
