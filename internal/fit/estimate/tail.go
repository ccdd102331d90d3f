package estimate

import (
	"math"
)

// maxTail limits the standard deviation of the logarithm of a belief's deviation. At 0.8 the
// deviation is wrong by more than a factor of five, either way, in about 4 % of cases.
const maxTail = 0.8

// tail returns the standard deviation of the logarithm of an element's standard deviation. along
// is the element's covariance with each unknown. The contribution of readings to the variance is
// proportional to the variance of their noise, which is uncertain where there are few of them (as
// in the formula of Welch and Satterthwaite, JCGM 100:2008, G.4).
func (e *Estimate) tail(along []float64, deviation float64) float64 {
	noise := e.Assumptions.Noise
	slopes := make([][2]float64, len(noise)) // of the element's variance by the logarithms of each group's
	for i := range e.Observations {
		o := &e.Observations[i]
		if o.Excluded || i >= len(e.jacobian) {
			continue
		}
		c := e.jacobian[i].Dot(along)
		n, whole := &noise[o.Group], o.Deviation*o.Deviation
		slopes[o.Group][0] += c * c * n.Constant * n.Constant / whole
		slopes[o.Group][1] += c * c * n.Relative * n.Relative * o.Value * o.Value / whole
	}
	variance := 0.0
	for g, s := range slopes {
		c := &noise[g].Covariance
		variance += s[0]*s[0]*c[0][0] + 2*s[0]*s[1]*c[0][1] + s[1]*s[1]*c[1][1]
	}
	if !(deviation > 0) || math.IsInf(deviation, 1) {
		return 0
	}
	return math.Min(math.Sqrt(math.Max(variance, 0))/(2*deviation*deviation), maxTail)
}
