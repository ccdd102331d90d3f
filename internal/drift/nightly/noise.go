package nightly

import (
	"cmp"
	"math"
	"slices"

	"ohmkeep/internal/drift/scan"
	"ohmkeep/internal/numeric/trend"
)

// noise is the standard deviation of a drop, V, as a function of the load: a constant part and a
// part for each ampere. Ripple and the flicker of dimmed pixels cause the second (common practice,
// no source).
type noise struct{ constant, perAmp float64 }

func (n noise) at(amps float64) float64 { return n.constant + n.perAmp*math.Abs(amps) }

// noiseOf estimates the noise of residuals from their spreads at small and at large loads. least is
// the smallest standard deviation that a sensor's resolution allows. Medians exclude a contact that
// fails now and then.
func noiseOf(amps, rest []float64, least float64) noise {
	order := make([]int, len(rest))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(math.Abs(amps[a]), math.Abs(amps[b])) })
	half := func(of []int) (load, deviation float64) {
		var loads, sizes []float64
		for _, i := range of {
			loads, sizes = append(loads, math.Abs(amps[i])), append(sizes, math.Abs(rest[i]))
		}
		return trend.Median(loads), max(normalMedian*trend.Median(sizes), least)
	}
	const enough = 12 // least number of residuals for a part that grows with the load
	all := max(normalMedian*trend.Median(absolute(rest)), least)
	if len(rest) < enough {
		return noise{constant: all}
	}
	low, deviationLow := half(order[:len(order)/2])
	high, deviationHigh := half(order[len(order)/2:])
	if high-low < leastAmps || deviationHigh <= deviationLow {
		return noise{constant: all}
	}
	n := noise{perAmp: (deviationHigh - deviationLow) / (high - low)}
	n.constant = max(deviationLow-n.perAmp*low, least)
	return n
}

// normalMedian is the standard deviation of a normal distribution over its median absolute value.
const normalMedian = 1.4826

func absolute(v []float64) []float64 {
	sizes := make([]float64, len(v))
	for i, x := range v {
		sizes[i] = math.Abs(x)
	}
	return sizes
}

// line fits a straight line robustly to drops, V, whose noise grows with the current, A, and returns
// that noise. least is the smallest standard deviation of one drop, V.
func line(amps, drops []float64, least float64) (trend.Fit, noise) {
	n := noise{constant: least}
	deviation := make([]float64, len(amps))
	var fit trend.Fit
	for range 2 {
		for i, a := range amps {
			deviation[i] = n.at(a)
		}
		fit = trend.Robust(amps, drops, deviation)
		if math.IsInf(fit.SlopeError, 1) {
			break
		}
		rest := make([]float64, len(drops))
		for i := range rest {
			rest[i] = drops[i] - fit.At(amps[i])
		}
		n = noiseOf(amps, rest, least)
	}
	return fit, n
}

// noiseRatio is the ratio of the scatter of drops between the scans of one day and step to that of
// the sensors' resolution, at least 1. It is computed from all elements together, so that one
// contact that fails now and then has little effect.
func (d *Reader) noiseRatio(c *scan.Collector, steps []int, k int) float64 {
	var differ []float64
	for i := range d.elements {
		e := &d.elements[i]
		m := &e.Steps[k]
		u, v := d.slot(e.From), d.slot(e.To)
		before := math.NaN()
		for j := range c.Scans {
			s := &c.Scans[j]
			if steps[j] != k || !m.Known || !d.hasAllCurrents(s) {
				continue
			}
			celsius, _ := d.degrees(e, s)
			now := scan.At(s.Volts, u) - scan.At(s.Volts, v) - m.Expected(s.Amps, celsius)
			once, _ := c.DropErrors(s, u, v)
			if change := math.Abs(now-before) / math.Sqrt2 / once; change == change {
				differ = append(differ, change)
			}
			if now == now {
				before = now
			}
		}
	}
	const enough = 6
	if len(differ) < enough {
		return 1
	}
	return max(1, normalMedian*trend.Median(differ))
}
