// Package trend computes how fast a series rises or falls without assuming Gaussian errors: the
// slope of Theil (1950) and Sen (1968), and its confidence interval from the variance of the
// Mann–Kendall statistic, corrected for ties and autocorrelation. It also fits lines by weighted
// and robust least squares. A slope is in units of y per unit of x.
package trend

import (
	"math"
	"slices"
)

// Line is y = Intercept + Slope·x.
type Line struct{ Slope, Intercept float64 }

// At returns the line's value at x.
func (l Line) At(x float64) float64 { return l.Intercept + l.Slope*x }

// Slopes are the slopes between all pairs of points, ascending.
type Slopes []float64

// NewSlopes returns the slopes between all pairs of points whose x differ. Its
// time and memory grow with the square of their number.
func NewSlopes(x, y []float64) Slopes {
	s := make(Slopes, 0, len(x)*(len(x)-1)/2+1)
	for i := range x {
		for j := range i {
			if x[i] != x[j] {
				s = append(s, (y[i]-y[j])/(x[i]-x[j]))
			}
		}
	}
	slices.Sort(s)
	return s
}

// Median returns the slope estimate of Theil and Sen; NaN where no two points differ in x.
func (s Slopes) Median() float64 { return middle(s) }

// Interval returns the slope's interval (Gilbert, Statistical Methods for
// Environmental Pollution Monitoring, 1987, 16.5): variance is that of the
// Mann–Kendall S, z the normal quantile of the two-sided confidence. The ends
// are infinite where there are too few pairs for that confidence.
func (s Slopes) Interval(variance, z float64) (low, high float64) {
	reach := z * math.Sqrt(variance)
	n := float64(len(s))
	return s.order((n - reach) / 2), s.order((n+reach)/2 + 1)
}

// order returns the order statistic of a rank counted from 1, interpolated.
func (s Slopes) order(rank float64) float64 {
	switch {
	case !(rank >= 1):
		return math.Inf(-1)
	case rank > float64(len(s)):
		return math.Inf(1)
	}
	whole := int(rank)
	if whole == len(s) {
		return s[whole-1]
	}
	part := rank - float64(whole)
	return s[whole-1] + part*(s[whole]-s[whole-1])
}

// Median returns the median; NaN for no values. It does not change v.
func Median(v []float64) float64 {
	sorted := slices.Clone(v)
	slices.Sort(sorted)
	return middle(sorted)
}

// Midmean returns the interquartile mean; NaN for no values. Outliers hardly affect it. Of values
// from an instrument with a coarse resolution it has a finer resolution than the median.
func Midmean(v []float64) float64 {
	sorted := slices.Clone(v)
	slices.Sort(sorted)
	cut := len(sorted) / 4
	sum := 0.0
	for _, x := range sorted[cut : len(sorted)-cut] {
		sum += x
	}
	return sum / float64(len(sorted)-2*cut)
}

// Spread returns the standard deviation estimated from the median absolute deviation: 1.4826 times
// it, as for Gaussian values.
func Spread(v []float64) float64 {
	m := Median(v)
	distance := make([]float64, len(v))
	for i, x := range v {
		distance[i] = math.Abs(x - m)
	}
	return 1.4826 * Median(distance)
}

func middle(sorted []float64) float64 {
	n := len(sorted)
	switch {
	case n == 0:
		return math.NaN()
	case n%2 == 1:
		return sorted[n/2]
	}
	return (sorted[n/2-1] + sorted[n/2]) / 2
}
