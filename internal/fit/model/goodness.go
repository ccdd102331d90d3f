package model

import (
	"math"

	"ohmkeep/internal/numeric/chisquared"
	"ohmkeep/internal/numeric/matrix"
)

// SumAt returns the sum of squares at x under some assumptions, priors included. Its errors are
// those of the network.
func (m *Model) SumAt(a Assumptions, x []float64) (float64, error) {
	p := m.problem(a)
	defer p.point.release()
	n, _ := p.Size()
	residuals := make([]float64, n)
	if err := p.Evaluate(x, residuals, nil); err != nil {
		return 0, err
	}
	sum := matrix.Dot(residuals, residuals)
	for i := range m.Unknowns {
		mean, deviation := m.PriorOf(a, i)
		z := (x[i] - mean) / deviation
		sum += z * z
	}
	return sum, nil
}

// ChiSquared returns the sum of squares of a fit without its foil priors.
func (f *Fit) ChiSquared() float64 {
	m := f.Model
	first, sum := len(m.Observations)+len(m.Splits), f.SumSquares
	for i := range m.FoilPriors {
		sum -= f.Residuals[first+i] * f.Residuals[first+i]
	}
	return math.Max(sum, 0)
}

// PValue returns the probability of a chi-squared at least as large as that of the fit, if the
// model is right.
func (f *Fit) PValue() float64 { return chisquared.Tail(f.ChiSquared(), f.DegreesOfFreedom()) }

// DegreesOfFreedom returns the number of readings and splits minus that of the unknowns they
// determine. An unknown with a narrow prior does not count: the prior adds one and the unknown
// removes one. One with a wide prior removes 1 − (posterior variance)/(prior variance), the degree
// to which the readings determine it.
func (f *Fit) DegreesOfFreedom() int {
	m, n := f.Model, 0.0
	for i := range m.Splits {
		if !f.Assumptions.splitDisabled(&m.Splits[i]) {
			n++
		}
	}
	for _, o := range f.Observations {
		if !o.Excluded {
			n++
		}
	}
	for j, u := range m.Unknowns {
		if _, held := f.Assumptions.Held[j]; u.WidePrior && !held && f.Covariance != nil {
			n -= 1 - f.Covariance.At(j, j)/(u.Deviation*u.Deviation)
		}
	}
	return max(0, int(math.Round(n)))
}

// Standardised returns the normalised residual of observation i: its difference from the value
// predicted by the other readings, over the standard deviation of that difference. For a reading
// in the fit that is its residual over √(1 − leverage). It is 0 where only the reading itself
// determines the value.
func (f *Fit) Standardised(i int) float64 {
	o := &f.Observations[i]
	if !o.Excluded {
		rest := 1 - f.Leverage(i)
		if rest < 1e-6 {
			return 0
		}
		return f.Residuals[i] / math.Sqrt(rest)
	}
	spread := matrix.Quadratic(f.Covariance, f.excludedRows[i]) + o.Deviation*o.Deviation
	return (o.Value - f.Predicted[i]) / math.Sqrt(spread)
}

// Leverage returns how far a reading in the fit determines its own prediction, 0 to 1; 0 of an
// excluded reading, or where the fit has no covariance.
func (f *Fit) Leverage(i int) float64 {
	if f.leverages == nil {
		return 0
	}
	return f.leverages[i]
}

// ExcludedRow returns the derivatives by unknown of the predicted value of an excluded observation.
func (f *Fit) ExcludedRow(i int) []float64 { return f.excludedRows[i] }

// MinPValue is the p-value below which the model does not explain the readings. Intervals are
// then widened by the square root of chi-squared over its degrees of freedom (Birge, Phys. Rev.
// 40 (1932) 207).
const MinPValue = 0.01
