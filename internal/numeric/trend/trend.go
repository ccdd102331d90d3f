// Package trend finds whether a series rises or falls and how fast, without
// believing that its errors are Gaussian: the slope of Theil (1950) and Sen (1968)
// with its interval, the test of Mann and Kendall with ties, and what neighbours
// that resemble each other take away from both. It knows no times and no units: a
// slope is in units of y per unit of x.
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

// NewSlopes returns the slopes between all pairs of points whose x differ. It takes
// time and memory with the square of their number.
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

// Median is Theil and Sen's estimate; NaN where no two points differ in x.
func (s Slopes) Median() float64 { return middle(s) }

// Interval returns the slope's interval (Gilbert, Statistical Methods for
// Environmental Pollution Monitoring, 1987, 16.5): variance is that of the
// Mann–Kendall S, z the normal quantile of the two-sided confidence. Where so few
// pairs cannot reach the confidence the ends are infinite.
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

// TheilSen returns the robust line through points: the median slope, and the
// intercept of Conover, median y less slope times median x.
func TheilSen(x, y []float64) Line {
	slope := NewSlopes(x, y).Median()
	return Line{slope, Conover(slope, x, y)}
}

// Conover returns the intercept that goes with a robust slope (Conover, Practical
// Nonparametric Statistics).
func Conover(slope float64, x, y []float64) float64 { return Median(y) - slope*Median(x) }

// Median returns the middle value; NaN of none. Its argument stays as it is.
func Median(v []float64) float64 {
	sorted := slices.Clone(v)
	slices.Sort(sorted)
	return middle(sorted)
}

// Midmean returns the mean of the middle half of the values: outliers do not move it, and it has
// finer steps than a median where an instrument counts coarsely. NaN of none.
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

// Spread returns the standard deviation that the median distance from the median
// stands for, were the values Gaussian.
func Spread(v []float64) float64 {
	m := Median(v)
	far := make([]float64, len(v))
	for i, x := range v {
		far[i] = math.Abs(x - m)
	}
	return 1.4826 * Median(far)
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
