package nightly

import (
	"cmp"
	"math"
	"slices"

	"ohmkeep/internal/drift/scan"
	"ohmkeep/internal/numeric/trend"
)

// noise is the standard deviation of a drop, V, as it grows with the load: a part that is
// always there and one for each ampere. Ripple and the flicker of dimmed pixels make the
// second (common practice, no source).
type noise struct{ still, perAmp float64 }

func (n noise) at(amps float64) float64 { return n.still + n.perAmp*math.Abs(amps) }

// noiseOf finds the noise of residuals at their loads from the spreads of those at small
// loads and of those at large ones. least is the smallest deviation that a sensor's own
// counts allow. Medians keep a contact that fails now and then out of it.
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
	const enough = 12 // residuals, to tell a growth
	all := max(normalMedian*trend.Median(absolute(rest)), least)
	if len(rest) < enough {
		return noise{still: all}
	}
	low, deviationLow := half(order[:len(order)/2])
	high, deviationHigh := half(order[len(order)/2:])
	if high-low < leastAmps || deviationHigh <= deviationLow {
		return noise{still: all}
	}
	n := noise{perAmp: (deviationHigh - deviationLow) / (high - low)}
	n.still = max(deviationLow-n.perAmp*low, least)
	return n
}

// normalMedian is a normal distribution's standard deviation over the median of its
// absolute values.
const normalMedian = 1.4826

func absolute(v []float64) []float64 {
	sizes := make([]float64, len(v))
	for i, x := range v {
		sizes[i] = math.Abs(x)
	}
	return sizes
}

// line fits a straight line robustly to drops whose noise grows with the current, and
// returns that noise. least is the smallest deviation of one drop.
func line(amps, drops []float64, least float64) (trend.Fit, noise) {
	n := noise{still: least}
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

// roughness is how many times as far as the sensors' counts allow the drops of one day
// and step differ from round to round, at least 1. It is that of all elements together: a
// contact that fails now and then is one of many.
func (d *Reader) roughness(c *scan.Collector, steps []int, k int) float64 {
	var differ []float64
	for i := range d.elements {
		e := &d.elements[i]
		m := &e.Steps[k]
		u, v := d.slot(e.From), d.slot(e.To)
		before := math.NaN()
		for j := range c.Scans {
			s := &c.Scans[j]
			if steps[j] != k || !m.Known || !d.full(s) {
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
