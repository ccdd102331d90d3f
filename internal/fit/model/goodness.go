package model

import (
	"math"

	"ohmkeep/internal/numeric/chisquared"
	"ohmkeep/internal/numeric/leastsquares"
	"ohmkeep/internal/numeric/matrix"
)

// SumAt returns the sum of squares at x, priors included. Its error is that of Evaluate.
func (p *Problem) SumAt(x []float64) (float64, error) {
	n, _ := p.Size()
	residuals := make([]float64, n)
	if err := p.Evaluate(x, residuals, nil); err != nil {
		return 0, err
	}
	sum := matrix.Dot(residuals, residuals)
	for i := range p.Unknowns {
		mean, deviation := p.PriorOf(i)
		z := (x[i] - mean) / deviation
		sum += z * z
	}
	return sum, nil
}

// ChiSquared returns the sum of squares of a fit without its foil priors.
func (p *Problem) ChiSquared(fit *leastsquares.Fit) float64 {
	first, sum := len(p.Observations)+len(p.Splits), fit.SumSquares
	for i := range p.FoilPriors {
		sum -= fit.Residuals[first+i] * fit.Residuals[first+i]
	}
	return math.Max(sum, 0)
}

// PValue returns the probability of a chi-squared at least as large as that of the fit, if the
// model is right.
func (p *Problem) PValue(fit *leastsquares.Fit) float64 {
	return chisquared.Tail(p.ChiSquared(fit), p.DegreesOfFreedom(fit))
}

// DegreesOfFreedom returns the number of readings and splits minus that of the unknowns they
// determine. An unknown with a narrow prior does not count: the prior adds one and the unknown
// removes one. One with a wide prior removes 1 − (posterior variance)/(prior variance), the degree
// to which the readings determine it.
func (p *Problem) DegreesOfFreedom(fit *leastsquares.Fit) int {
	n := 0.0
	for _, s := range p.Splits {
		if !s.Disabled {
			n++
		}
	}
	for _, o := range p.Observations {
		if !o.Excluded {
			n++
		}
	}
	for j, u := range p.Unknowns {
		if u.WidePrior && !p.HeldOpen[j] && fit.Covariance != nil {
			n -= 1 - fit.Covariance.At(j, j)/(u.Deviation*u.Deviation)
		}
	}
	return max(0, int(math.Round(n)))
}

// Standardised returns the normalised residual of observation i: its difference from the value
// predicted by the other readings, over the standard deviation of that difference. For a reading
// in the fit that is its residual over √(1 − leverage). It is 0 where only the reading itself
// determines the value.
func (p *Problem) Standardised(i int, fit *leastsquares.Fit) float64 {
	o := &p.Observations[i]
	if !o.Excluded {
		rest := 1 - matrix.Quadratic(fit.Covariance, fit.Jacobian.Row(i))
		if rest < 1e-6 {
			return 0
		}
		return fit.Residuals[i] / math.Sqrt(rest)
	}
	predicted, err := p.Predict(o, fit.X, p.row)
	if err != nil {
		return 0
	}
	spread := matrix.Quadratic(fit.Covariance, p.row) + o.Deviation*o.Deviation
	return (o.Value - predicted) / math.Sqrt(spread)
}

// MinPValue is the p-value below which the model does not explain the readings. Intervals are
// then widened by the square root of chi-squared over its degrees of freedom (Birge, Phys. Rev.
// 40 (1932) 207).
const MinPValue = 0.01
